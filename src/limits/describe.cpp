#include "limits/describe.h"

#include "limits/size_range.h"

#include <algorithm>
#include <map>

namespace endgrade {
namespace {

constexpr Certainty kFromSurest[] = {Certainty::kTwoSources,
                                     Certainty::kOneSource,
                                     Certainty::kFromMemory,
                                     Certainty::kCommonPractice,
                                     Certainty::kHouse};

constexpr size_t kColumns = 96;
constexpr size_t kWordsColumn = 34;  // "no limit from 20 to below 30 um" fits

std::string Mark(Certainty certainty) { return "[" + CertaintyMark(certainty) + "]"; }

std::string Padded(std::string text, size_t columns) {
  if (text.size() < columns) text.append(columns - text.size(), ' ');
  return text;
}

// Breaks a text into lines of at most kColumns, each after the first behind `indent` spaces.
std::string Wrapped(const std::string& text, size_t indent) {
  std::string lines;
  size_t column = 0;
  for (size_t at = 0; at < text.size();) {
    const size_t end = std::min(text.find(' ', at), text.size());
    const size_t length = end - at;
    if (column > 0 && column + 1 + length > kColumns) {
      lines += "\n" + std::string(indent, ' ');
      column = indent;
    } else if (column > 0) {
      lines += ' ';
      ++column;
    }
    lines += text.substr(at, length);
    column += length;
    at = std::max(end, at) + 1;
  }
  return lines;
}

std::string NumbersWords(const std::vector<double>& numbers) {
  std::string text;
  for (const double number : numbers) text += (text.empty() ? "" : " or ") + NumberWords(number);
  return text;
}

// Sources by the numbers under which the text names them, in the order of their first mention.
class Sources {
 public:
  std::string Note(const std::string& source) {
    const auto [entry, is_new] = number_.emplace(source, number_.size() + 1);
    if (is_new) ordered_.push_back(source);
    return "(" + std::to_string(entry->second) + ")";
  }

  [[nodiscard]] std::string List() const {
    std::string text;
    for (size_t i = 0; i < ordered_.size(); ++i) {
      const std::string number = Padded("  (" + std::to_string(i + 1) + ")", 7);
      text += Wrapped(number + ordered_[i], 7) + "\n";
    }
    return text;
  }

 private:
  std::map<std::string, size_t> number_;
  std::vector<std::string> ordered_;
};

std::string FibreLine(const Limits& limits, Sources& sources) {
  const FibreType& fibre = limits.fibre;
  std::string text = fibre.single_mode ? "single-mode" : "multimode";
  text += ", cladding " + NumberWords(fibre.cladding_diameter_um) + " +/- " +
          NumberWords(fibre.cladding_tolerance_um) + " um, ";
  text += fibre.core_diameters_um.empty() ? std::string("any core")
                                          : "core " + NumbersWords(fibre.core_diameters_um) + " um";
  text += fibre.polish_angle_deg > 0
              ? ", polished at " + NumberWords(fibre.polish_angle_deg) + " degrees"
              : std::string(", not angled");
  return text + "  " + Mark(fibre.certainty) + " " + sources.Note(fibre.source);
}

std::string MustSeeLine(const Zone& zone) {
  const auto part = [](const char* kind, const std::optional<double>& size_um) {
    return size_um ? std::string(kind) + " of " + NumberWords(*size_um) + " um" : std::string();
  };
  const std::string scratch = part("scratches", zone.must_see_scratch_um);
  const std::string defect = part("defects", zone.must_see_defect_um);
  if (scratch.empty() && defect.empty()) return "nothing here can break a rule";
  return "a picture must be able to show " + scratch +
         (!scratch.empty() && !defect.empty() ? " and " : "") + defect;
}

std::string KindWords(RuleKind kind) {
  switch (kind) {
    case RuleKind::kScratch:
      return "scratches";
    case RuleKind::kDefect:
      return "defects";
    case RuleKind::kAny:
      break;
  }
  return "any kind";
}

std::string ZoneText(const Limits& limits, const Zone& zone, Sources& sources) {
  std::string text = "Zone " + zone.name + ", " + zone.title + ": " +
                     NumberWords(zone.inner_diameter_um) + " to " +
                     NumberWords(zone.outer_diameter_um) + " um  " + Mark(zone.certainty) + " " +
                     sources.Note(zone.source) + "\n";
  text += "  to pass    " + MustSeeLine(zone) + "\n";
  for (const RuleKind kind : {RuleKind::kScratch, RuleKind::kDefect, RuleKind::kAny}) {
    std::string label = KindWords(kind);
    for (const Rule& rule : limits.rules) {
      if (rule.zone != zone.name || rule.kind != kind) continue;
      const std::string mark = Padded(Mark(rule.certainty), 8);
      text += "  " + Padded(label, 11) + Padded(RuleWords(rule), kWordsColumn) + mark +
              Padded(sources.Note(rule.source), 5) + rule.id + "\n";
      label.clear();
    }
  }
  return text;
}

std::vector<Certainty> Used(const Limits& limits) {
  std::vector<Certainty> used = {limits.fibre.certainty, limits.max_cleanings_certainty};
  for (const Zone& zone : limits.zones) used.push_back(zone.certainty);
  for (const Rule& rule : limits.rules) used.push_back(rule.certainty);
  return used;
}

std::string Legend(const Limits& limits) {
  const auto used = Used(limits);
  std::string text;
  for (const Certainty certainty : kFromSurest) {
    if (std::find(used.begin(), used.end(), certainty) == used.end()) continue;
    text += "  " + Padded(Mark(certainty), 9) + CertaintyWords(certainty) + "\n";
  }
  return text;
}

std::string CountWords(size_t count, const char* one, const char* many) {
  return std::to_string(count) + " " + (count == 1 ? one : many);
}

// "figures: 7 quoted in two public places, 8 quoted in one": what borders and rules rest on.
std::string SuretyLine(const Limits& limits) {
  std::map<Certainty, size_t> count;
  for (const Zone& zone : limits.zones) ++count[zone.certainty];
  for (const Rule& rule : limits.rules) ++count[rule.certainty];
  constexpr std::pair<Certainty, const char*> kWords[] = {
      {Certainty::kTwoSources, "quoted in two public places"},
      {Certainty::kOneSource, "quoted in one"},
      {Certainty::kFromMemory, "from memory"},
      {Certainty::kCommonPractice, "common practice"},
      {Certainty::kHouse, "the house's own"}};
  std::string text;
  for (const auto& [certainty, words] : kWords) {
    if (count[certainty] == 0) continue;
    text += (text.empty() ? "figures: " : ", ") + std::to_string(count[certainty]) + " " + words;
  }
  return text;
}

}  // namespace

std::string CertaintyMark(Certainty certainty) {
  switch (certainty) {
    case Certainty::kTwoSources:
      return "2";
    case Certainty::kOneSource:
      return "1";
    case Certainty::kFromMemory:
      return "m";
    case Certainty::kCommonPractice:
      return "c";
    case Certainty::kHouse:
      break;
  }
  return "house";
}

std::string CertaintyWords(Certainty certainty) {
  switch (certainty) {
    case Certainty::kTwoSources:
      return "two independent public places quote the same figure";
    case Certainty::kOneSource:
      return "one public place quotes it";
    case Certainty::kFromMemory:
      return "from memory of the trade, not looked up";
    case Certainty::kCommonPractice:
      return "common practice, no source";
    case Certainty::kHouse:
      break;
  }
  return "a lab's own choice";
}

std::string DescribeLimits(const Limits& limits) {
  Sources sources;
  std::string text = Wrapped(limits.id + "  " + limits.title, limits.id.size() + 2) + "\n";
  text += Wrapped(limits.edition, 0) + "\n\n";
  text += Wrapped("Fibre      " + FibreLine(limits, sources), 11) + "\n";
  if (!limits.extends.empty()) text += "Builds on  " + limits.extends + "\n";
  text += "Cleaning   rejected when it still fails after " +
          CountWords(static_cast<size_t>(limits.max_cleanings), "attempt", "attempts") + "  " +
          Mark(limits.max_cleanings_certainty) + " " + sources.Note(limits.max_cleanings_source) +
          "\n\n";
  text += Wrapped(
              "A scratch's size is its width; a defect's is the diameter of the smallest circle "
              "that encloses it. A feature belongs, whole, to the innermost zone that it touches. "
              "Borders are diameters.",
              0) +
          "\n\n";
  for (const Zone& zone : limits.zones) text += ZoneText(limits, zone, sources) + "\n";
  text += "How sure each figure is\n" + Legend(limits) + "\n";
  text += "Sources\n" + sources.List() + "\n";
  text += "File     " + limits.path.string() + "\n";
  text += "SHA-256  " + limits.sha256 + "\n";
  return text;
}

std::string DescribeLimitsList(const std::vector<Result<Limits>>& list) {
  size_t id_columns = 0;
  for (const auto& entry : list) {
    if (entry.ok()) id_columns = std::max(id_columns, entry->id.size() + 2);
  }
  const std::string indent(id_columns, ' ');
  std::string text;
  for (const auto& entry : list) {
    if (!entry.ok()) {
      text += "not fit to use: " + entry.error().Text() + "\n";
      continue;
    }
    text += Padded(entry->id, id_columns) + entry->title + "\n";
    text += indent + entry->edition + "\n";
    text += indent + SuretyLine(*entry) + "\n";
  }
  if (list.empty()) text = "no limits files in " + LimitsFolder().string() + "\n";
  return text;
}

std::string DescribeLimitsCheck(const std::filesystem::path& path, const LimitsCheck& check) {
  std::string text;
  for (const Error& error : check.errors) text += error.Text() + "\n";
  for (Error warning : check.warnings) {
    warning.what = "warning: " + warning.what;
    text += warning.Text() + "\n";
  }
  if (!check.limits) {
    return text + path.string() + ": not fit to use, " +
           CountWords(check.errors.size(), "mistake", "mistakes") + "\n";
  }
  const Limits& limits = *check.limits;
  text += path.string() + ": good, " + CountWords(limits.zones.size(), "zone", "zones") + " and " +
          CountWords(limits.rules.size(), "rule", "rules");
  if (!limits.extends.empty()) text += ", built on " + limits.extends;
  if (!check.warnings.empty()) {
    text += ", " + CountWords(check.warnings.size(), "warning", "warnings");
  }
  return text + "\n";
}

}  // namespace endgrade
