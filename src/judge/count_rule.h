// How many features a rule finds, and how many it could find within their uncertainty.
#pragma once

#include "endgrade/limits.h"
#include "endgrade/measure.h"

#include <vector>

namespace endgrade {

// Counts of the features of a rule's zone and kind in its range of sizes.
//
// Each size stands for the interval size +/- expanded uncertainty (k = 2), and every feature takes
// any size of its own interval whatever the others take. So `least` counts the intervals that lie
// wholly inside the range, `most` those that touch it.
struct RuleCount {
  int found = 0;  // by the sizes as measured
  int least = 0;
  int most = 0;

  // As `found`, of features that stand well above the noise; and of those, the ones whose size is
  // in the range even with its uncertainty and the picture's smear taken off.
  int plain = 0;
  int beyond_doubt = 0;

  // As `most`, when besides a defect that the picture cuts off may be larger than its seen part, by
  // any amount, and a feature without a usable size may be of any size. A scratch's size is its
  // width, which the part in view shows, so a cut scratch is taken as measured.
  int most_unseen = 0;

  // Whether a feature that `most` counts may hide another one: a scratch beneath a scratch.
  bool may_be_one_more = false;

  // Scratches that may be lint, and would then be defects in the rule's range.
  int may_be_lint = 0;

  std::vector<size_t> in_range;  // features that `found` counts, as indices
  std::vector<size_t> touching;  // features that `most` counts
  std::vector<size_t> unseen;  // what is not seen of these, or not measured, may put them in range
};

//   smear_um  how far the picture moved while it was taken
[[nodiscard]] RuleCount CountRule(const Rule& rule,
                                  const Limits& limits,
                                  const std::vector<Feature>& features,
                                  double smear_um = 0);

// Whether a feature's size and uncertainty are numbers that a size can be.
[[nodiscard]] bool HasUsableSize(const Feature& feature);

}  // namespace endgrade
