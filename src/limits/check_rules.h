// Whether limits are fit to grade by: zones that touch, rules that leave no size unsaid.
#pragma once

#include "endgrade/limits.h"

#include <string>
#include <vector>

namespace endgrade {

// What a finding is about: the whole file, its fibre, or the zone or rule of an index.
struct LimitsPlace {
  enum class Of { kFile, kFibre, kZone, kRule } of = Of::kFile;
  size_t index = 0;
};

// Something wrong, or only odd, about limits.
struct LimitsFinding {
  bool is_error = true;
  LimitsPlace place;
  std::string what;
  std::string remedy;
};

// Zones: names once, from 0 outwards, touching, no larger than a ferrule. Rules: ids once, zones
// that exist; every size of every kind in every zone under a rule, because what no rule speaks of
// would pass unseen; no size that one rule limits and another of the zone leaves free. `zones`
// holds must-see sizes as the file states them (empty: derived).
//
// Odd, and so only warnings: a size under two limits (both must hold), more large features allowed
// than small ones, borders that look like radii, must-see sizes too coarse for the rules.
[[nodiscard]] std::vector<LimitsFinding> FindInLimits(const Limits& limits);

}  // namespace endgrade
