#include "core/sha256.h"
#include "endgrade/limits.h"
#include "limits/check_rules.h"
#include "limits/draft.h"
#include "limits/files.h"
#include "limits/size_range.h"
#include "limits/table_reader.h"
#include "limits/toml.h"

#include <algorithm>
#include <set>
#include <system_error>

namespace endgrade {
namespace fs = std::filesystem;
namespace {

// A house's limits, its customer's, a project's: more links than this are a mistake.
constexpr size_t kLongestChain = 8;

fs::path Canonical(const fs::path& file) {
  std::error_code error;
  const fs::path canonical = fs::weakly_canonical(file, error);
  return error ? file : canonical;
}

void SortByLine(std::vector<Error>& errors, size_t from) {
  std::stable_sort(errors.begin() + static_cast<std::ptrdiff_t>(from),
                   errors.end(),
                   [](const Error& a, const Error& b) { return a.line < b.line; });
}

// Reads a file and those it builds on; `chain` holds the files on the way here, to see a loop.
class DraftReader {
 public:
  explicit DraftReader(LimitsCheck& check) : check_(check) {}

  std::optional<LimitsDraft> Read(const fs::path& file) {
    auto bytes = ReadBytes(file);
    if (!bytes.ok()) {
      check_.errors.push_back(bytes.error());
      return std::nullopt;
    }
    const size_t errors_before = check_.errors.size();
    Mistakes mistakes(check_.errors, file.string());
    const toml::parse_result parsed = toml::parse(*bytes, file.string());
    if (!parsed) {
      const auto& error = parsed.error();
      mistakes.Add(static_cast<int>(error.source().begin.line),
                   "not valid TOML: " + WordsOf(error),
                   "Check brackets, quotes and the equals sign on and above this line");
      return std::nullopt;
    }
    const toml::table& table = parsed.table();
    std::optional<LimitsDraft> draft = Parent(table, file, mistakes);
    const bool parent_is_sound = draft.has_value();
    if (!draft) draft.emplace();
    const size_t own_errors_from = check_.errors.size();
    const std::string parent_sha256 = draft->limits.sha256;
    std::vector<Error> own_warnings;
    Mistakes warnings(own_warnings, file.string());
    ApplyFile(table, *draft, mistakes, warnings);
    CheckName(*draft, file, mistakes, table);
    SortByLine(check_.errors, own_errors_from);
    if (chain_.empty()) check_.warnings = std::move(own_warnings);
    if (!parent_is_sound || check_.errors.size() > errors_before) return std::nullopt;
    draft->limits.path = file;
    draft->limits.sha256 = Sha256Hex(*bytes + parent_sha256);
    return draft;
  }

 private:
  // What `file` builds on: an empty draft if it stands alone; nothing if the parent is not sound.
  std::optional<LimitsDraft> Parent(const toml::table& table,
                                    const fs::path& file,
                                    Mistakes& mistakes) {
    const toml::node* node = table.get("extends");
    if (!node) return LimitsDraft{};
    const int line = LineOf(*node);
    const auto extends = node->value_exact<std::string>();
    if (!extends || extends->empty()) {
      mistakes.Add(line, "\"extends\": expected the ID of limits in quotes, as in \"sm-upc\"");
      return std::nullopt;
    }
    const auto parent = FindParent(*extends, file);
    if (!parent) {
      mistakes.Add(line,
                   "\"extends\": there are no limits \"" + *extends + "\"",
                   "Expected the ID of a file in this folder or of shipped limits, or a path from "
                   "this folder");
      return std::nullopt;
    }
    chain_.push_back(Canonical(file));
    if (std::find(chain_.begin(), chain_.end(), Canonical(*parent)) != chain_.end()) {
      mistakes.Add(line,
                   "\"extends\" leads back to " + parent->filename().string() + ": a loop",
                   "Limits can only build on others that do not build on them");
      chain_.pop_back();
      return std::nullopt;
    }
    if (chain_.size() > kLongestChain) {
      mistakes.Add(line,
                   "\"extends\" goes on for more than " + std::to_string(kLongestChain) + " files");
      chain_.pop_back();
      return std::nullopt;
    }
    auto draft = Read(*parent);
    chain_.pop_back();
    if (draft) draft->limits.extends = draft->limits.id;
    return draft;
  }

  // The ID is the file's name: a copy that kept the ID of its original would claim to be it.
  static void CheckName(const LimitsDraft& draft,
                        const fs::path& file,
                        Mistakes& mistakes,
                        const toml::table& table) {
    const std::string& id = draft.limits.id;
    if (id.empty() || file.stem() == id) return;
    mistakes.Add(LineOf(*table.get("id")),
                 "\"id\" is \"" + id + "\", but the file is called " + file.filename().string(),
                 "Name the file " + id + ".toml, or write its name without .toml as the id");
  }

  LimitsCheck& check_;
  std::vector<fs::path> chain_;
};

void CheckFindings(const LimitsDraft& draft, LimitsCheck& check) {
  const size_t errors_before = check.errors.size();
  for (LimitsFinding& finding : FindInLimits(draft.limits)) {
    const FilePlace place = draft.Find(finding.place);
    auto& list = finding.is_error ? check.errors : check.warnings;
    list.push_back({ErrorKind::kBadLimits,
                    place.file,
                    place.line,
                    std::move(finding.what),
                    std::move(finding.remedy)});
  }
  SortByLine(check.errors, errors_before);
}

// Someone's own limits under the ID of shipped ones would be taken for them in a record.
void WarnOfBorrowedId(const Limits& limits, const FilePlace& top, LimitsCheck& check) {
  for (const fs::path& shipped : LimitsFilesOf(LimitsFolder(), limits.id)) {
    if (Canonical(shipped) == Canonical(limits.path)) continue;
    const auto theirs = ReadBytes(shipped);
    const auto ours = ReadBytes(limits.path);
    if (theirs.ok() && ours.ok() && *theirs == *ours) continue;
    check.warnings.push_back({ErrorKind::kBadLimits,
                              top.file,
                              top.line,
                              "other limits with the ID \"" + limits.id + "\" are shipped",
                              "Give yours an ID and a file name of its own"});
    return;
  }
}

void Complete(Limits& limits) {
  for (size_t i = 0; i < limits.zones.size(); ++i) {
    const auto defect = limits.MustSee(i, FeatureKind::kDefect);
    const auto scratch = limits.MustSee(i, FeatureKind::kScratch);
    limits.zones[i].must_see_defect_um = defect;
    limits.zones[i].must_see_scratch_um = scratch;
  }
  for (Rule& rule : limits.rules) rule.text = RuleWords(rule);
  if (limits.max_cleanings_source.empty()) {
    limits.max_cleanings_source = "five is often used, from memory";
  }
}

}  // namespace

LimitsCheck CheckLimits(const fs::path& path) {
  LimitsCheck check;
  auto draft = DraftReader(check).Read(path);
  if (!draft) return check;
  CheckFindings(*draft, check);
  WarnOfBorrowedId(draft->limits, draft->top, check);
  SortByLine(check.warnings, 0);
  if (!check.errors.empty()) return check;
  Complete(draft->limits);
  check.limits = std::move(draft->limits);
  return check;
}

Result<Limits> ReadLimits(const fs::path& path) {
  LimitsCheck check = CheckLimits(path);
  if (check.limits) return *std::move(check.limits);
  Error first = check.errors.front();
  if (const size_t others = check.errors.size() - 1; others > 0) {
    if (!first.remedy.empty()) first.remedy += ". ";
    first.remedy += "The file has " + std::to_string(others) +
                    (others == 1 ? " more mistake" : " more mistakes") +
                    ": run `endgrade limits check " + path.string() + "`";
  }
  return first;
}

}  // namespace endgrade
