#include "limits/draft.h"

#include "limits/size_range.h"

#include <algorithm>
#include <set>

namespace endgrade {
namespace {

// More than this is no count of features on an end face of 250 um.
constexpr int kMostAllowed = 100'000;
// Beyond a dozen cleanings a face is being polished; common practice, no source.
constexpr int kMostCleanings = 100;

// Takes a value into a field if it was there and right.
template <typename Field, typename Value>
void Set(Field& field, std::optional<Value> value) {
  if (value) field = *std::move(value);
}

std::optional<Certainty> ReadCertainty(TableReader& reader, Need need) {
  return reader.Choice<Certainty>("certainty",
                                  need,
                                  {{"2", Certainty::kTwoSources},
                                   {"1", Certainty::kOneSource},
                                   {"m", Certainty::kFromMemory},
                                   {"c", Certainty::kCommonPractice},
                                   {"house", Certainty::kHouse}});
}

// The parts of one file, each applied to the draft.
class FileApplier {
 public:
  FileApplier(const toml::table& file, LimitsDraft& draft, Mistakes& mistakes, Mistakes& warnings)
      : file_(file),
        draft_(draft),
        limits_(draft.limits),
        mistakes_(mistakes),
        warnings_(warnings) {}

  void Run() {
    TableReader top(file_,
                    "",
                    mistakes_,
                    {"id",
                     "title",
                     "edition",
                     "source",
                     "extends",
                     "drop_rules",
                     "fibre",
                     "cleaning",
                     "zone",
                     "rule"});
    builds_on_ = top.Has("extends");
    const Need base_need = builds_on_ ? Need::kMay : Need::kMust;
    ApplyTop(top);
    if (const auto* table = top.Table("fibre")) {
      ApplyFibre(*table);
    } else if (base_need == Need::kMust && !top.Has("fibre")) {
      mistakes_.Add(1, "\"fibre\" is missing: expected a table headed [fibre]");
    }
    if (const auto* table = top.Table("cleaning")) ApplyCleaning(*table);
    DropRules(top);
    for (const auto* table : top.Tables("zone")) ApplyZone(*table);
    for (const auto* table : top.Tables("rule")) ApplyRule(*table);
  }

 private:
  void ApplyTop(TableReader& top) {
    const std::string parent_edition = limits_.edition;
    limits_.edition.clear();
    limits_.id = top.Id("id", Need::kMust).value_or("");
    limits_.title = top.Text("title", Need::kMust).value_or("");
    Set(limits_.edition, top.Text("edition", builds_on_ ? Need::kMay : Need::kMust));
    if (builds_on_ && !top.Has("edition")) {
      limits_.edition = "house limits, built on " + limits_.extends + " (" + parent_edition + ")";
    }
    source_ = top.Text("source", Need::kMay);
    draft_.top = {mistakes_.file(), std::max(1, top.Line("id"))};
  }

  void ApplyFibre(const toml::table& table) {
    TableReader reader(table,
                       "[fibre]",
                       mistakes_,
                       {"mode",
                        "cladding_diameter_um",
                        "cladding_tolerance_um",
                        "core_diameters_um",
                        "polish_angle_deg",
                        "certainty",
                        "source"});
    const Need need = builds_on_ ? Need::kMay : Need::kMust;
    FibreType& fibre = limits_.fibre;
    Set(fibre.single_mode, reader.Choice<bool>("mode", need, {{"single", true}, {"multi", false}}));
    Set(fibre.cladding_diameter_um, reader.Number("cladding_diameter_um", need));
    Set(fibre.cladding_tolerance_um, reader.Number("cladding_tolerance_um", need));
    Set(fibre.core_diameters_um, reader.Numbers("core_diameters_um", need));
    Set(fibre.polish_angle_deg, reader.Number("polish_angle_deg", need));
    Set(fibre.certainty, ReadCertainty(reader, Need::kMust));
    Set(fibre.source, reader.Text("source", Need::kMust));
    draft_.fibre = {mistakes_.file(), reader.Line()};
  }

  void ApplyCleaning(const toml::table& table) {
    TableReader reader(table, "[cleaning]", mistakes_, {"max_attempts", "certainty", "source"});
    Set(limits_.max_cleanings, reader.Whole("max_attempts", 1, kMostCleanings, Need::kMust));
    Set(limits_.max_cleanings_certainty, ReadCertainty(reader, Need::kMust));
    Set(limits_.max_cleanings_source, reader.Text("source", Need::kMust));
  }

  void DropRules(TableReader& top) {
    for (const auto& [id, line] : top.Texts("drop_rules")) {
      const size_t index = RuleIndex(id);
      if (index == limits_.rules.size()) {
        mistakes_.Add(line,
                      "\"drop_rules\" names a rule \"" + id + "\" which there is not",
                      builds_on_ ? "Expected the id of a rule of \"" + limits_.extends + "\""
                                 : "It only makes sense beside \"extends\"");
        continue;
      }
      WarnOfDropped(limits_.rules[index], line);
      limits_.rules.erase(limits_.rules.begin() + static_cast<std::ptrdiff_t>(index));
      draft_.rules.erase(draft_.rules.begin() + static_cast<std::ptrdiff_t>(index));
    }
  }

  void ApplyZone(const toml::table& table) {
    TableReader reader(table,
                       "[[zone]]",
                       mistakes_,
                       {"name",
                        "title",
                        "diameters_um",
                        "certainty",
                        "source",
                        "must_see_defect_um",
                        "must_see_scratch_um"});
    const auto name = ReadZoneName(reader);
    if (!name) return;
    if (!zones_here_.insert(*name).second) {
      mistakes_.Add(reader.Line("name"),
                    "a second zone \"" + *name + "\" in this file",
                    "Give every zone a name of its own");
      return;
    }
    const auto is_it = [&](const Zone& zone) { return zone.name == *name; };
    const auto found = std::find_if(limits_.zones.begin(), limits_.zones.end(), is_it);
    const auto index = static_cast<size_t>(found - limits_.zones.begin());
    const bool is_new = found == limits_.zones.end();
    if (is_new) {
      limits_.zones.emplace_back();
      draft_.zones.emplace_back();
    }
    Zone& zone = limits_.zones[index];
    zone.name = *name;
    ReadZone(reader, is_new ? Need::kMust : Need::kMay, zone);
    draft_.zones[index] = {mistakes_.file(), reader.Line()};
  }

  std::optional<std::string> ReadZoneName(TableReader& reader) {
    const auto name = reader.Text("name", Need::kMust);
    if (!name) return std::nullopt;
    const auto is_letter = [](char c) {
      return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
    };
    if (name->size() <= 8 && std::all_of(name->begin(), name->end(), is_letter)) return name;
    reader.Wrong("name", "at most 8 letters and digits, as in \"A\"");
    return std::nullopt;
  }

  void ReadZone(TableReader& reader, Need need, Zone& zone) {
    Set(zone.title, reader.Text("title", need));
    if (const auto borders = reader.Numbers("diameters_um", need)) {
      if (borders->size() == 2) {
        zone.inner_diameter_um = (*borders)[0];
        zone.outer_diameter_um = (*borders)[1];
      } else {
        reader.Wrong("diameters_um", "two diameters, inner and outer, as in [25, 115]");
      }
    }
    const Need own = reader.Has("diameters_um") ? Need::kMust : need;
    Set(zone.certainty, ReadCertainty(reader, own));
    ReadSource(reader, own, zone.source);
    if (const auto size = reader.Number("must_see_defect_um", Need::kMay)) {
      zone.must_see_defect_um = size;
    }
    if (const auto size = reader.Number("must_see_scratch_um", Need::kMay)) {
      zone.must_see_scratch_um = size;
    }
  }

  // An entry's own source, else that of the whole file.
  void ReadSource(TableReader& reader, Need need, std::string& source) {
    if (reader.Has("source") || (!source_ && need == Need::kMust)) {
      Set(source, reader.Text("source", need));
    } else if (need == Need::kMust) {
      source = *source_;
    }
  }

  size_t RuleIndex(const std::string& id) const {
    const auto is_it = [&](const Rule& rule) { return rule.id == id; };
    return static_cast<size_t>(std::find_if(limits_.rules.begin(), limits_.rules.end(), is_it) -
                               limits_.rules.begin());
  }

  void ApplyRule(const toml::table& table) {
    TableReader reader(table,
                       "[[rule]]",
                       mistakes_,
                       {"id", "zone", "kind", "size", "allowed", "certainty", "source"});
    const auto id = reader.Id("id", Need::kMust);
    if (!id) return;
    if (!rules_here_.insert(*id).second) {
      mistakes_.Add(reader.Line("id"),
                    "a second rule with the id \"" + *id + "\" in this file",
                    "Give every rule an id of its own");
      return;
    }
    const size_t index = RuleIndex(*id);
    const bool is_new = index == limits_.rules.size();
    if (is_new) {
      limits_.rules.emplace_back();
      draft_.rules.emplace_back();
    }
    const Rule parent = limits_.rules[index];
    Rule& rule = limits_.rules[index];
    rule.id = *id;
    ReadRule(reader, is_new ? Need::kMust : Need::kMay, rule);
    draft_.rules[index] = {mistakes_.file(), reader.Line()};
    if (!is_new) WarnIfLooser(parent, rule, reader.Line());
  }

  void ReadRule(TableReader& reader, Need need, Rule& rule) {
    Set(rule.zone, reader.Text("zone", need));
    Set(rule.kind,
        reader.Choice<RuleKind>("kind",
                                need,
                                {{"scratch", RuleKind::kScratch},
                                 {"defect", RuleKind::kDefect},
                                 {"any", RuleKind::kAny}}));
    if (const auto text = reader.Text("size", need)) {
      const auto size = ParseSizeRange(*text);
      if (!size) reader.Wrong("size", std::string("sizes in micrometres: ") + kSizeNotation);
      Set(rule.size, size);
    }
    ReadAllowed(reader, need, rule);
    Set(rule.certainty, ReadCertainty(reader, Need::kMust));
    ReadSource(reader, Need::kMust, rule.source);
  }

  void ReadAllowed(TableReader& reader, Need need, Rule& rule) {
    const std::string expected =
        R"("none", "no limit" or a whole number from 0 to )" + std::to_string(kMostAllowed);
    const toml::node* node = reader.Node("allowed");
    if (!node) {
      if (need == Need::kMust) {
        mistakes_.Add(reader.Line(), "\"allowed\" in [[rule]] is missing: expected " + expected);
      }
      return;
    }
    const auto text = node->value_exact<std::string>();
    const auto number = node->value_exact<std::int64_t>();
    if (text == "none") {
      rule.allowed = 0;
    } else if (text == "no limit") {
      rule.allowed.reset();
    } else if (number && *number >= 0 && *number <= kMostAllowed) {
      rule.allowed = static_cast<int>(*number);
    } else {
      reader.Wrong("allowed", expected);
    }
  }

  void WarnOfDropped(const Rule& rule, int line) {
    if (!rule.CanBreak()) return;
    warnings_.Add(
        line,
        "drops rule \"" + rule.id + "\" of \"" + limits_.extends + "\" (" + RuleWords(rule) + ")",
        "Check that what stands in its place is no looser than you mean");
  }

  void WarnIfLooser(const Rule& parent, const Rule& rule, int line) {
    const bool freed = parent.CanBreak() && !rule.CanBreak();
    const bool more = parent.CanBreak() && rule.CanBreak() && *rule.allowed > *parent.allowed;
    if (!freed && !more) return;
    warnings_.Add(line,
                  "rule \"" + rule.id + "\" allows more than it does in \"" + limits_.extends +
                      "\" (" + RuleWords(rule) + ", there " + RuleWords(parent) + ")",
                  "A face that passes may fail the limits that these build on");
  }

  const toml::table& file_;
  LimitsDraft& draft_;
  Limits& limits_;
  Mistakes& mistakes_;
  Mistakes& warnings_;
  bool builds_on_ = false;
  std::optional<std::string> source_;  // of what names none of its own
  std::set<std::string> zones_here_;
  std::set<std::string> rules_here_;
};

}  // namespace

FilePlace LimitsDraft::Find(LimitsPlace place) const {
  switch (place.of) {
    case LimitsPlace::Of::kFibre:
      return fibre.file.empty() ? top : fibre;
    case LimitsPlace::Of::kZone:
      return place.index < zones.size() ? zones[place.index] : top;
    case LimitsPlace::Of::kRule:
      return place.index < rules.size() ? rules[place.index] : top;
    case LimitsPlace::Of::kFile:
      break;
  }
  return top;
}

void ApplyFile(const toml::table& file,
               LimitsDraft& draft,
               Mistakes& mistakes,
               Mistakes& warnings) {
  FileApplier(file, draft, mistakes, warnings).Run();
}

}  // namespace endgrade
