#include "present/strip_words.h"

#include "endgrade/version.h"
#include "present/escape.h"
#include "present/words.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <utility>

namespace endgrade {
namespace {

constexpr std::size_t kHashDigits = 12;

bool IsWordCharacter(char c) {
  return std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '_';
}

void ReplaceAll(std::string* text,
                const std::string& from,
                const std::string& to,
                bool whole_word) {
  for (std::size_t at = text->find(from); at != std::string::npos; at = text->find(from, at)) {
    const std::size_t end = at + from.size();
    const bool inside_word = (at > 0 && IsWordCharacter((*text)[at - 1])) ||
                             (end < text->size() && IsWordCharacter((*text)[end]));
    if (whole_word && inside_word) {
      at = end;
      continue;
    }
    text->replace(at, from.size(), to);
    at += to.size();
  }
}

std::string Counted(std::size_t count, const std::string& noun) {
  return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

// What a pass rests on.
std::string PassWords(const Limits& limits, const FibreGrade& fibre) {
  std::string text = "Every rule holds. ";
  text += fibre.features.empty() ? "Nothing was found in the zones."
                                 : Counted(fibre.features.size(), "feature") +
                                       " found, none beyond what the limits allow.";
  std::string seen;
  for (std::size_t i = 0; i < std::min(limits.zones.size(), fibre.zones.size()); ++i) {
    if (!fibre.zones[i].smallest_visible_um || !limits.MustSee(i, FeatureKind::kDefect)) continue;
    seen += (seen.empty() ? "" : ", ") + std::string("zone ") + limits.zones[i].name + " " +
            FixedWords(*fibre.zones[i].smallest_visible_um, 1) + " um";
  }
  if (!seen.empty()) text += " Smallest defect that this picture would have shown: " + seen + ".";
  return text;
}

std::string ScaleWords(const Scale& scale) {
  const std::string size = "1 px = " + FixedWords(scale.um_per_px, 3) + " +/- " +
                           FixedWords(scale.um_per_px_uncertainty, 3) + " um";
  switch (scale.source) {
    case ScaleSource::kCladding:
      return size + ", from the cladding";
    case ScaleSource::kGiven:
      return size + ", as given";
    case ScaleSource::kProfile:
      break;
  }
  return size + ", from the camera's profile";
}

}  // namespace

std::string Typeset(const std::string& text) {
  constexpr std::array<std::pair<const char*, const char*>, 3> kSigns = {
      {{">=", "\u2265"}, {"<=", "\u2264"}, {"+/-", "\u00b1"}}};
  std::string out = PrintableText(text);
  for (const auto& [plain, sign] : kSigns) ReplaceAll(&out, plain, sign, false);
  ReplaceAll(&out, "um", "\u00b5m", true);
  return out;
}

std::string PictureName(const Frame& frame) {
  const std::string name = frame.path.filename().string();
  return name.empty() ? "picture from memory" : PrintableText(name);
}

std::vector<StripParagraph> StripParagraphs(const Limits& limits, const Grade& grade) {
  std::vector<StripParagraph> paragraphs;
  if (grade.verdict == Verdict::kPass && !grade.fibres.empty()) {
    paragraphs.push_back({Typeset(PassWords(limits, grade.fibres[0])), false});
  }
  for (const Reason& reason : grade.reasons) paragraphs.push_back({Typeset(reason.text), false});
  for (const Reason& warning : grade.warnings) {
    paragraphs.push_back({Typeset("Note: " + warning.text), true});
  }
  return paragraphs;
}

std::string FeatureWords(const Feature& feature, const Limits& limits) {
  std::string text = std::string(RecordWord(feature.kind)) + " " + FixedWords(feature.size_um, 1) +
                     " +/- " + FixedWords(feature.size_uncertainty_um, 1) + " um";
  if (feature.zone >= 0 && feature.zone < static_cast<int>(limits.zones.size())) {
    text += ", zone " + limits.zones[static_cast<std::size_t>(feature.zone)].name;
  }
  return Typeset(text);
}

std::vector<std::string> FactLines(const Grade& grade) {
  if (grade.fibres.empty()) return {};
  const FibreGrade& fibre = grade.fibres[0];
  const Scale& scale = fibre.scale;
  const auto& core = fibre.geometry.core;
  const std::string core_words =
      core ? "Core " + FixedWords(2 * core->MeanRadius() * scale.um_per_px, 1) + " um"
           : "Core not seen";
  const bool assumed = scale.source == ScaleSource::kCladding;
  return {Typeset(core_words + ", cladding " + (assumed ? "taken as " : "measures ") +
                  FixedWords(scale.cladding_diameter_um, 1) + " um"),
          Typeset(ScaleWords(scale))};
}

std::string ProvenanceLine(const Frame& frame, const Limits& limits) {
  std::string line = "endgrade " + Version();
  if (!frame.sha256.empty())
    line += "  \u00b7  picture SHA-256 " + frame.sha256.substr(0, kHashDigits);
  line += "  \u00b7  limits " + limits.id;
  if (!limits.sha256.empty()) line += " SHA-256 " + limits.sha256.substr(0, kHashDigits);
  return PrintableText(line);
}

}  // namespace endgrade
