// All that a comparison is shown and written from.
#pragma once

#include "endgrade/advice.h"
#include "endgrade/compare.h"

#include <array>
#include <string>
#include <vector>

namespace endgrade::compare_page {

// References must outlive it.
struct Compared {
  const std::vector<Attempt>& attempts;
  const Limits& limits;
  const Comparison& comparison;
  std::vector<Advice> advice;  // by attempt: what to do after it
  std::vector<Situation> situations;
};

[[nodiscard]] Compared Conclude(const std::vector<Attempt>& attempts,
                                const Limits& limits,
                                const Comparison& comparison,
                                const AdviceTable& table);

inline constexpr std::array kFates = {
    Fate::kGone, Fate::kStillThere, Fate::kMoved, Fate::kNew, Fate::kCannotTell};

// How many things ended so, by kFates; the camera's own dirt is left out.
[[nodiscard]] std::array<int, kFates.size()> CountFates(const Comparison& comparison);

// The feature by which a thing is best described: as it was last found.
[[nodiscard]] const Feature& FeatureOf(const std::vector<Attempt>& attempts, const Track& track);

// "defect of 3.2 um in zone B".
[[nodiscard]] std::string ThingWords(const std::vector<Attempt>& attempts,
                                     const Limits& limits,
                                     const Track& track);

// The last step that says anything: why the thing ended as it did.
[[nodiscard]] std::string WhyWords(const Track& track);

}  // namespace endgrade::compare_page
