#include "compare_page/comparison_words.h"

#include "present/escape.h"
#include "present/words.h"

namespace endgrade::compare_page {
namespace {

constexpr int kMostListed = 30;

std::string AttemptLine(const Compared& compared, std::size_t i) {
  const Attempt& attempt = compared.attempts[i];
  std::string text = std::to_string(i + 1) + "  " + VerdictWords(attempt.grade.verdict) +
                     (attempt.grade.marginal ? " (marginal)" : "") + "  " +
                     PrintableText(attempt.frame.path.string()) + "\n";
  if (!attempt.grade.reasons.empty()) {
    text += "     " + PrintableText(attempt.grade.reasons.front().text) + "\n";
  }
  return text;
}

std::string ThingLine(const Compared& compared, const Track& track) {
  std::string text = "  " + std::to_string(track.id) + ". " + FateWords(track.fate);
  if (track.likely_permanent) text += ", likely permanent";
  if (track.by_radius) text += " (by distance from the centre only)";
  text += ": " + ThingWords(compared.attempts, compared.limits, track);
  const std::string why = WhyWords(track);
  if (!why.empty()) text += "; " + why;
  return PrintableText(text) + "\n";
}

}  // namespace

std::string CountWords(const Comparison& comparison) {
  const auto counts = CountFates(comparison);
  std::string text;
  for (std::size_t i = 0; i < kFates.size(); ++i) {
    if (counts[i] == 0) continue;
    text += (text.empty() ? "" : ", ") + std::to_string(counts[i]) + " " + FateWords(kFates[i]);
  }
  return text.empty() ? "nothing was found on the face" : text;
}

std::string ComparisonText(const Compared& compared) {
  std::string text;
  for (std::size_t i = 0; i < compared.attempts.size(); ++i) text += AttemptLine(compared, i);
  text += "\n";
  for (const PairComparison& pair : compared.comparison.pairs) {
    text += std::to_string(pair.before + 1) + " to " + std::to_string(pair.after + 1) + ": " +
            PrintableText(pair.registration.words) + "\n";
  }
  text += "\n" + CountWords(compared.comparison) + "\n";
  int listed = 0;
  for (const Fate fate : kFates) {
    for (const Track& track : compared.comparison.tracks) {
      if (track.fate == fate && listed++ < kMostListed) text += ThingLine(compared, track);
    }
  }
  if (listed > kMostListed) {
    text += "  and " + std::to_string(listed - kMostListed) + " more, all in comparison.json\n";
  }
  const Advice& advice = compared.advice.back();
  text += "\nNext: " + PrintableText(advice.say) + "\n      [" + PrintableText(advice.source) +
          "]\n\n" + PrintableText(advice.safety) + "\n";
  return text;
}

}  // namespace endgrade::compare_page
