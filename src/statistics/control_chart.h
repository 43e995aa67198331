// Shewhart's chart of a share by subgroup (p-chart).
#pragma once

#include <string>
#include <vector>

namespace endgrade::statistics {

struct Subgroup {
  std::string name;
  int count = 0;   // nonconforming
  int trials = 0;  // looked at
};

struct ControlPoint {
  std::string name;
  int trials = 0;
  double share = 0;
  double low = 0;  // control limits of a subgroup of this size
  double high = 1;
  bool outside = false;
};

struct ControlChart {
  double mean = 0;  // of all subgroups together
  std::vector<ControlPoint> points;
  // Limits from few subgroups are themselves unsure; 20 to 25 are usual (common practice).
  bool few = true;
};

// Limits at three standard deviations, by each subgroup's own size: ISO 7870-2:2013, p chart;
// Montgomery, Introduction to Statistical Quality Control, ch. 7. Subgroups with no trials are left
// out.
[[nodiscard]] ControlChart ChartOfShares(const std::vector<Subgroup>& subgroups);

}  // namespace endgrade::statistics
