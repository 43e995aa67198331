// Agreement of several raters who put the same things into classes: Fleiss' kappa.
#pragma once

#include "endgrade/result.h"
#include "statistics/interval.h"

#include <vector>

namespace endgrade::statistics {

struct Agreement {
  int num_subjects = 0;
  int num_raters = 0;
  double all_agree = 0;      // share of the subjects on which all ratings are the same
  double pairs_agree = 0;    // share of the pairs of ratings of one subject that are the same
  double expected = 0;       // the same by chance
  double kappa = 0;          // (pairs_agree - expected) / (1 - expected)
  Interval kappa_interval;   // 95 %
  double null_error = 0;     // standard error if kappa were 0: for a test, not for an interval
  bool kappa_known = false;  // false: every rating is the same class, and chance explains all
};

// Fleiss, Psychological Bulletin 76 (1971) 378; null_error after Fleiss, Nee and Landis,
// Psychological Bulletin 86 (1979) 974; the interval is kappa +/- t * error with the delta-method
// error over subjects (Gwet, Handbook of Inter-Rater Reliability, 4th edition, ch. 5; from memory)
// and t of num_subjects - 1 degrees of freedom, within [-1, 1].
//
//   counts    [subject][class], all rows with the same sum of two or more
//   errors    kBadOption: fewer than two subjects or ratings, rows of different sums
[[nodiscard]] Result<Agreement> FleissAgreement(const std::vector<std::vector<int>>& counts);

}  // namespace endgrade::statistics
