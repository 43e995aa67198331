#include "detect/lines_along.h"

#include "detect/direction.h"

#include <algorithm>
#include <cmath>

namespace endgrade {

int LinesAlong(const std::vector<Region>& lines, cv::Point2d along) {
  constexpr double kAlike = 0.9945;  // cosine
  return static_cast<int>(std::count_if(lines.begin(), lines.end(), [&](const Region& line) {
    return std::abs(Unit(line.spine.back() - line.spine.front()).dot(along)) > kAlike;
  }));
}

}  // namespace endgrade
