#include "core/sha256.h"
#include "endgrade/advice.h"
#include "limits/files.h"
#include "limits/table_reader.h"
#include "limits/toml.h"

#include <algorithm>

namespace endgrade {
namespace {

namespace fs = std::filesystem;

constexpr const char* kSchema = "endgrade.advice/1";
constexpr int kMostCleanings = 1000;

std::optional<AdviceLine> ReadLine(const toml::table& table, Mistakes& mistakes) {
  TableReader reader(table,
                     "[[advice]]",
                     mistakes,
                     {"id",
                      "verdict",
                      "left",
                      "cleanings_from",
                      "cleanings_spent",
                      "action",
                      "say",
                      "source",
                      "certainty"});
  const auto id = reader.Id("id", Need::kMust);
  const auto verdict = reader.Choice<Verdict>(
      "verdict",
      Need::kMust,
      {{"pass", Verdict::kPass}, {"fail", Verdict::kFail}, {"ungradable", Verdict::kUngradable}});
  const auto action =
      reader.Choice<NextAction>("action",
                                Need::kMust,
                                {{"photograph_again", NextAction::kPhotographAgain},
                                 {"clean_dry", NextAction::kCleanDry},
                                 {"clean_wet_then_dry", NextAction::kCleanWetThenDry},
                                 {"inspect_mate", NextAction::kInspectMate},
                                 {"stop", NextAction::kStop}});
  const auto say = reader.Text("say", Need::kMust);
  const auto source = reader.Text("source", Need::kMust);
  const auto certainty = reader.Choice<Certainty>("certainty",
                                                  Need::kMust,
                                                  {{"2", Certainty::kTwoSources},
                                                   {"1", Certainty::kOneSource},
                                                   {"m", Certainty::kFromMemory},
                                                   {"c", Certainty::kCommonPractice},
                                                   {"house", Certainty::kHouse}});
  AdviceLine line;
  line.left = reader.Choice<Left>(
      "left",
      Need::kMay,
      {{"removable", Left::kRemovable}, {"permanent", Left::kPermanent}, {"new", Left::kNew}});
  line.num_cleanings_from = reader.Whole("cleanings_from", 0, kMostCleanings, Need::kMay);
  if (const toml::node* spent = reader.Node("cleanings_spent")) {
    const auto value = spent->value_exact<bool>();
    if (!value) reader.Wrong("cleanings_spent", "true or false");
    line.cleanings_spent = value.value_or(false);
  }
  if (!id || !verdict || !action || !say || !source || !certainty) return std::nullopt;
  line.id = *id;
  line.verdict = *verdict;
  line.action = *action;
  line.say = *say;
  line.source = *source;
  line.certainty = *certainty;
  return line;
}

// A verdict for which some situation would find nothing to say.
void CheckNothingIsMissing(const std::vector<AdviceLine>& lines, Mistakes& mistakes) {
  for (const auto& [verdict, word] : {std::pair{Verdict::kPass, "pass"},
                                      std::pair{Verdict::kFail, "fail"},
                                      std::pair{Verdict::kUngradable, "ungradable"}}) {
    const Verdict wanted = verdict;
    const bool always = std::any_of(lines.begin(), lines.end(), [&](const AdviceLine& line) {
      return line.verdict == wanted && !line.left && !line.num_cleanings_from &&
             !line.cleanings_spent;
    });
    if (always) continue;
    mistakes.Add(0,
                 std::string("no [[advice]] for every case of verdict \"") + word + "\"",
                 "End with one that has no left, cleanings_from or cleanings_spent");
  }
}

}  // namespace

Result<AdviceTable> ReadAdvice(const fs::path& path) {
  const auto bytes = ReadBytes(path);
  if (!bytes.ok()) return bytes.error();
  std::vector<Error> errors;
  Mistakes mistakes(errors, path.string());
  const toml::parse_result parsed = toml::parse(*bytes, path.string());
  if (!parsed) {
    mistakes.Add(static_cast<int>(parsed.error().source().begin.line),
                 "not valid TOML: " + WordsOf(parsed.error()),
                 "Check brackets, quotes and the equals sign on and above this line");
    return errors.front();
  }
  AdviceTable table;
  TableReader reader(parsed.table(), "", mistakes, {"schema", "title", "safety", "advice"});
  const auto schema = reader.Text("schema", Need::kMust);
  if (schema && *schema != kSchema) reader.Wrong("schema", std::string("\"") + kSchema + "\"");
  table.title = reader.Text("title", Need::kMay).value_or("");
  table.safety = reader.Text("safety", Need::kMust).value_or("");
  for (const toml::table* each : reader.Tables("advice")) {
    if (auto line = ReadLine(*each, mistakes)) table.lines.push_back(*std::move(line));
  }
  if (errors.empty()) CheckNothingIsMissing(table.lines, mistakes);
  if (!errors.empty()) return errors.front();
  table.path = path;
  table.sha256 = Sha256Hex(*bytes);
  return table;
}

Result<AdviceTable> FindAdvice() { return ReadAdvice(LimitsFolder() / kAdviceFile); }

}  // namespace endgrade
