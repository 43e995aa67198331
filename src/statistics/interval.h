// Confidence intervals of a share: so many of so many.
#pragma once

namespace endgrade::statistics {

struct Interval {
  double low = 0;
  double high = 1;
};

// Wilson 1927, score interval without continuity correction; method 3 of Newcombe, Statistics in
// Medicine 17 (1998) 857. Of no trials at all: 0 to 1.
//
//   count, trials   0 <= count <= trials
//   confidence      two-sided, within (0, 1)
[[nodiscard]] Interval WilsonInterval(int count, int trials, double confidence = 0.95);

// Clopper and Pearson 1934, the "exact" interval, never narrower than stated; method 5 of Newcombe.
[[nodiscard]] Interval ClopperPearsonInterval(int count, int trials, double confidence = 0.95);

}  // namespace endgrade::statistics
