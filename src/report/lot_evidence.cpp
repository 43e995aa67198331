#include "report/lot_evidence.h"

#include "core/sha256.h"
#include "evidence/evidence.h"
#include "limits/sources.h"

#include <vector>

namespace endgrade::report {
namespace {

std::vector<std::int64_t> RowsOf(const summary::Cords& cords, bool passing) {
  std::vector<std::int64_t> rows;
  for (const auto& cord : cords.cords) {
    for (const auto& face : cord.faces) {
      for (const auto& attempt : face.attempts) {
        if (attempt.verdict == "unreadable") continue;  // there is nothing to grade again
        if ((attempt.verdict == "pass") == passing) rows.push_back(attempt.seq);
      }
    }
  }
  return rows;
}

}  // namespace

Result<std::string> LotEvidence(const store::Store& store,
                                const lot::Settings& settings,
                                const summary::Cords& cords,
                                std::size_t most_bytes) {
  evidence::EvidenceList list;
  list.settings = evidence::SettingsOf(settings.options);
  for (const auto& [kind, limits] : settings.limits) {
    auto sources = LimitsSourcesOf(limits.path);
    // Limits that build on a file elsewhere grade all the same; records name them by their hash.
    if (sources.ok()) {
      list.limits[limits.sha256] = *std::move(sources);
    } else if (sources.error().kind != ErrorKind::kBadLimits) {
      return sources.error();
    }
  }
  std::size_t taken = 0;
  for (const bool passing : {false, true}) {
    for (const std::int64_t seq : RowsOf(cords, passing)) {
      const auto row = store.At(seq);
      if (!row.ok()) return row.error();
      list.limits.try_emplace(row->limits_sha256);
      if (taken + row->record.size() <= most_bytes) {
        taken += row->record.size();
        list.evidence.push_back(evidence::BareEvidenceJson(row->record));
      } else {
        list.brief.push_back(evidence::BriefEvidenceJson({row->path,
                                                          row->sha256,
                                                          row->limits_sha256,
                                                          row->program,
                                                          row->verdict,
                                                          Sha256Hex(row->record)}));
      }
    }
  }
  return evidence::EvidenceListJson(list);
}

}  // namespace endgrade::report
