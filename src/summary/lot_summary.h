// What a quality engineer asks of a lot.
#pragma once

#include "statistics/control_chart.h"
#include "statistics/direction.h"
#include "statistics/interval.h"
#include "summary/decision.h"
#include "summary/faces.h"

#include <array>
#include <string>
#include <vector>

namespace endgrade::summary {

// So many pass of so many; what is open does not pass.
struct Yield {
  std::string of;  // "all faces", "end A", "kind sm-upc", "cords"
  int first = 0;   // after the first photograph
  int last = 0;    // after the last one, cleaned in between
  int trials = 0;
  statistics::Interval first_interval;  // Wilson, 95 %
  statistics::Interval last_interval;
};

// A rule and how many faces break it.
struct Cause {
  std::string zone;
  std::string rule;
  int first = 0;  // faces that break it in their first photograph
  int last = 0;
  double cumulative = 0;  // share of all `first` up to here
};

inline constexpr int kMapCells = 20;        // a side
inline constexpr double kMapHalf_um = 125;  // the contact zone

// Where on the face features sit, over the first photographs of all faces.
struct DensityMap {
  std::array<std::array<int, kMapCells>, kMapCells> counts{};  // [row, down][column, right]
  int total = 0;
  int most = 0;
  statistics::DirectionTest direction;  // of the features outside the core's 25 um
};

struct LotSummary {
  std::vector<Yield> yields;
  std::vector<Cause> causes;  // most frequent first
  DensityMap map;
  statistics::ControlChart trend;  // share of faces that do not pass at first, by day
  Decision decision;
};

[[nodiscard]] LotSummary Summarise(const Cords& cords, const lot::Settings& settings);

}  // namespace endgrade::summary
