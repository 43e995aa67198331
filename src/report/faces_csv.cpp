#include "report/lot_report.h"
#include "store/csv.h"

namespace endgrade::report {
namespace {

std::string Joined(const std::vector<std::string>& texts) {
  std::string joined;
  for (const std::string& text : texts) joined += (joined.empty() ? "" : " | ") + text;
  return joined;
}

}  // namespace

std::string FacesCsv(const summary::Cords& cords) {
  std::string csv = store::CsvLine({"cord",
                                    "cord_state",
                                    "end",
                                    "fibre",
                                    "kind",
                                    "port",
                                    "state",
                                    "first_state",
                                    "attempts",
                                    "last_verdict",
                                    "marginal",
                                    "taken_at",
                                    "limits",
                                    "picture",
                                    "sha256",
                                    "reasons",
                                    "note"});
  for (const summary::Cord& cord : cords.cords) {
    for (const summary::Face& face : cord.faces) {
      const summary::Attempt& last = face.attempts.back();
      csv += store::CsvLine({cord.name,
                             summary::Word(cord.last),
                             face.face.end,
                             std::to_string(face.face.fibre),
                             face.face.kind,
                             face.face.port,
                             summary::Word(face.last),
                             summary::Word(face.first),
                             std::to_string(face.attempts.size()),
                             last.verdict,
                             last.marginal ? "yes" : "no",
                             last.taken_at,
                             last.limits_id,
                             last.path,
                             last.sha256,
                             Joined(last.reasons),
                             face.note});
    }
  }
  return csv;
}

}  // namespace endgrade::report
