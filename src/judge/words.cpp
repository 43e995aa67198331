#include "judge/words.h"

#include <cstdio>
#include <cstdlib>

namespace endgrade {

std::string Fixed(double value, int decimals) {
  char text[64];
  std::snprintf(text, sizeof text, "%.*f", decimals, value);
  return text;
}

std::string ZoneWords(const Zone& zone) {
  return "zone " + zone.name + (zone.title.empty() ? "" : ", " + zone.title);
}

std::string CountWords(int count, RuleKind kind) {
  const bool one = count == 1;
  const std::string number = std::to_string(count) + " ";
  if (kind == RuleKind::kScratch) return number + (one ? "scratch" : "scratches");
  if (kind == RuleKind::kDefect) return number + (one ? "defect" : "defects");
  return number + (one ? "feature" : "features");
}

std::string SizeBeside(double size_um, const SizeRange& range) {
  constexpr int kMostDecimals = 3;
  for (int decimals = 1; decimals < kMostDecimals; ++decimals) {
    const std::string text = Fixed(size_um, decimals);
    if (range.Contains(std::atof(text.c_str())) == range.Contains(size_um)) return text;
  }
  return Fixed(size_um, kMostDecimals);
}

std::string Joined(const std::vector<std::string>& words) {
  std::string text;
  for (size_t i = 0; i < words.size(); ++i) {
    if (i > 0) text += i + 1 == words.size() ? " and " : ", ";
    text += words[i];
  }
  return text;
}

}  // namespace endgrade
