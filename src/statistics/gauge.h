// How much of the variation of a measured size is the measurement's: crossed gauge study by ANOVA.
#pragma once

#include "endgrade/result.h"

#include <optional>
#include <vector>

namespace endgrade::statistics {

// value[part][operator][trial]; all parts have the same operators and trials.
using GaugeValues = std::vector<std::vector<std::vector<double>>>;

struct AnovaLine {
  double sum_of_squares = 0;
  int degrees = 0;
  [[nodiscard]] double MeanSquare() const { return degrees > 0 ? sum_of_squares / degrees : 0; }
};

// Standard deviations in the unit of the values.
struct GaugeStudy {
  AnovaLine parts, operators, interaction, repeat, total;
  double interaction_p = 1;    // of the F test of interaction over repetition
  bool pooled = false;         // interaction counted as repetition, as it is not significant
  double repeatability = 0;    // the same operator again (equipment variation)
  double reproducibility = 0;  // other operators, and their interaction with the parts
  double gauge = 0;            // both together
  double part_variation = 0;
  double total_variation = 0;

  [[nodiscard]] double PercentOfTotal() const {
    return total_variation > 0 ? 100 * gauge / total_variation : 0;
  }
  // Six standard deviations over the width of the tolerance.
  [[nodiscard]] double PercentOfTolerance(double tolerance_width) const {
    return 600 * gauge / tolerance_width;
  }
};

// AIAG, Measurement Systems Analysis, 4th edition, ch. III, analysis of variance method: the
// interaction is pooled with repetition when its F test gives p > 0.25 (from memory; 0.05 is also
// used). Negative components of variance are 0.
//
//   errors    kBadOption: fewer than two parts, operators or trials, or a hole in the table
[[nodiscard]] Result<GaugeStudy> StudyGauge(const GaugeValues& values);

}  // namespace endgrade::statistics
