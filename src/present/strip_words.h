// What the strip says, as text.
#pragma once

#include "endgrade/frame.h"
#include "endgrade/judge.h"
#include "endgrade/limits.h"

#include <string>
#include <vector>

namespace endgrade {

// The signs of a printed page for those of a terminal: "um" as a word, ">=", "<=" and "+/-" become
// "µm", "≥", "≤" and "±". Safe to show (PrintableText).
[[nodiscard]] std::string Typeset(const std::string& text);

// The file's own name; "picture from memory" without one.
[[nodiscard]] std::string PictureName(const Frame& frame);

// Reasons first, then warnings; for a pass first what was found and what would have been.
struct StripParagraph {
  std::string text;
  bool is_warning = false;
};
[[nodiscard]] std::vector<StripParagraph> StripParagraphs(const Limits& limits, const Grade& grade);

// "defect 7.2 ± 0.4 µm, zone B".
[[nodiscard]] std::string FeatureWords(const Feature& feature, const Limits& limits);

// Core, cladding, scale: a line each; none without a fibre.
[[nodiscard]] std::vector<std::string> FactLines(const Grade& grade);

// "endgrade 0.1.0 · picture 3f2a91c0d4e1 · limits sm-upc 8ab1…": versions and the first twelve
// digits of each SHA-256.
[[nodiscard]] std::string ProvenanceLine(const Frame& frame, const Limits& limits);

}  // namespace endgrade
