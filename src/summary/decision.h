// Accept or reject the lot.
#pragma once

#include "lot/settings.h"
#include "statistics/sampling_plan.h"
#include "summary/faces.h"

#include <optional>
#include <string>
#include <vector>

namespace endgrade::summary {

enum class Outcome { kAccept, kReject, kOpen };
[[nodiscard]] const char* Word(Outcome outcome);  // "accept", "reject", "open"

struct Decision {
  Outcome outcome = Outcome::kOpen;
  std::string why;                               // one or two sentences
  std::optional<statistics::SamplingPlan> plan;  // none: every cord counts
  std::vector<std::string> sample;               // cords of the sample, by name
  int num_inspected = 0;                         // of the sample
  int num_failing = 0;
  int num_open = 0;
};

// With a sampling plan (ISO 2859-1, single): reject as soon as the sample has Re failing cords;
// accept when all of it is inspected and no more than Ac fail even if all open ones did; else open.
// Where more cords are there than the plan asks for, the sample is drawn: those with the smallest
// SHA-256 of "<draw> <cord>", which nobody who names cords can steer and anybody can repeat.
// Without a plan every cord is inspected, and all have to pass.
[[nodiscard]] Decision Decide(const std::vector<Cord>& cords, const lot::Settings& settings);

}  // namespace endgrade::summary
