#include "flatten/uneven_rim.h"

#include "flatten/cell_grid.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade {
namespace {

constexpr int kPlaces = 128;          // around the turn
constexpr double kReachUm = 18.0;     // of a running median, to either side
constexpr double kMostSpreads = 3.0;  // of a circle's own unevenness
constexpr double kIntoGlassUm = 2.0;  // beyond the blur: further in, the glass is even
constexpr double kFadeUm = 1.0;
constexpr size_t kLeastSeen = 8;  // samples of a median

// The values of a window that slides along a circle, in order.
class Window {
 public:
  // NaN is left out.
  void Add(float value) {
    if (std::isnan(value)) return;
    const auto place = Place(value);
    sorted_.insert(sorted_.begin() + place, value);
  }
  // One that was added.
  void Remove(float value) {
    if (std::isnan(value)) return;
    sorted_.erase(sorted_.begin() + Place(value));
  }
  [[nodiscard]] size_t size() const { return sorted_.size(); }
  [[nodiscard]] float Median() const { return sorted_[sorted_.size() / 2]; }

 private:
  // How many are less: counted, as that takes no branch which cannot be foretold.
  [[nodiscard]] std::ptrdiff_t Place(float value) const {
    return std::count_if(
        sorted_.begin(), sorted_.end(), [value](float other) { return other < value; });
  }

  std::vector<float> sorted_;
};

// The median around each of kPlaces places of one circle, held within what the circle does as a
// whole. `circle`: NaN outside the picture.
void Smooth(const std::vector<float>& circle, int reach, float* out) {
  const int count = static_cast<int>(circle.size());
  const auto at = [&](int i) { return circle[static_cast<size_t>((i + count) % count)]; };
  Window window;
  std::vector<float> known;
  std::vector<bool> seen(kPlaces, false);
  int next = -reach;
  for (int place = 0; place < kPlaces; ++place) {
    const int middle = place * count / kPlaces;
    for (; next <= middle + reach; ++next) {
      window.Add(at(next));
      const int gone = next - (2 * reach + 1);
      if (gone >= -reach) window.Remove(at(gone));
    }
    if (window.size() < kLeastSeen) continue;
    seen[static_cast<size_t>(place)] = true;
    out[place] = window.Median();
    known.push_back(out[place]);
  }
  if (known.empty()) return;
  const float middle = MedianOf(known);
  const float most = static_cast<float>(kMostSpreads) * SigmaAbout(middle, known);
  for (int place = 0; place < kPlaces; ++place) {
    if (seen[static_cast<size_t>(place)]) {
      out[place] = std::clamp(out[place], middle - most, middle + most);
    }
  }
}

// 0 at `from` and `to`, 1 where it is kFadeUm from both.
double Fade(double value, double from, double to) {
  return std::clamp(std::min(value - from, to - value) / kFadeUm, 0.0, 1.0);
}

}  // namespace

UnevenRim::UnevenRim(const ContrastMap& map,
                     const FaceRings& rings,
                     const PolarSamples& samples,
                     const std::function<double(int, int)>& expected) {
  const double blur_um = map.blur_sigma_cells * map.um_per_cell;
  from_um_ = std::max(rings.rim_from_um + 3.0,
                      rings.cladding_radius_um - kIntoGlassUm - kFadeUm - 2.0 * blur_um);
  to_um_ = rings.rim_to_um - 0.5;
  step_um_ = samples.circles.step_um;
  const int first =
      std::max(0, static_cast<int>(std::floor((from_um_ - samples.circles.from_um) / step_um_)));
  const int last =
      std::min(samples.num_radii - 1,
               static_cast<int>(std::ceil((to_um_ - samples.circles.from_um) / step_um_)));
  first_um_ = samples.Radius(first);
  num_radii_ = std::max(0, last - first + 1);
  values_.assign(static_cast<size_t>(num_radii_) * kPlaces, 0.0F);
  const double apart_um =
      2.0 * std::numbers::pi * rings.cladding_radius_um / samples.num_directions;
  const int reach = std::max(1, static_cast<int>(std::lround(kReachUm / apart_um)));
  std::vector<float> circle(static_cast<size_t>(samples.num_directions));
  for (int i = 0; i < num_radii_; ++i) {
    for (int d = 0; d < samples.num_directions; ++d) {
      circle[static_cast<size_t>(d)] =
          samples.At(first + i, d) - static_cast<float>(expected(first + i, d));
    }
    Smooth(circle, reach, values_.data() + static_cast<size_t>(i) * kPlaces);
  }
}

double UnevenRim::At(cv::Point2d um, double radius_um) const {
  if (radius_um <= from_um_ || radius_um >= to_um_ || num_radii_ == 0) return 0.0;
  const double row =
      std::clamp((radius_um - first_um_) / step_um_, 0.0, static_cast<double>(num_radii_ - 1));
  double turn = std::atan2(um.y, um.x) / (2.0 * std::numbers::pi) * kPlaces;
  if (turn < 0) turn += kPlaces;
  const auto row_below = static_cast<size_t>(row);
  const size_t row_above = std::min(row_below + 1, static_cast<size_t>(num_radii_ - 1));
  const auto place = static_cast<size_t>(turn);
  const size_t here = place % kPlaces;
  const size_t next = (place + 1) % kPlaces;
  const double across = row - static_cast<double>(row_below);
  const double along = turn - static_cast<double>(place);
  const auto value = [&](size_t r, size_t p) {
    return static_cast<double>(values_[r * kPlaces + p]);
  };
  const double below =
      value(row_below, here) + along * (value(row_below, next) - value(row_below, here));
  const double above =
      value(row_above, here) + along * (value(row_above, next) - value(row_above, here));
  return (below + across * (above - below)) * Fade(radius_um, from_um_, to_um_);
}

void AddUnevenRim(const ContrastMap& map, const UnevenRim& rim, cv::Mat* clean) {
  constexpr int kBlock = 8;
  const auto from = static_cast<float>(rim.from_um());
  const auto to = static_cast<float>(rim.to_um());
  // No cell of a block is further from its first.
  const auto block_um = static_cast<float>(1.5 * kBlock * map.um_per_cell);
  const cv::Rect box = CellsWithin(map, rim.to_um());
  for (int y = box.y; y < box.br().y; ++y) {
    const auto* radius = map.radius_um.ptr<float>(y);
    auto* out = clean->ptr<float>(y);
    for (int first = box.x; first < box.br().x; first += kBlock) {
      if (radius[first] < from - block_um || radius[first] > to + block_um) continue;
      for (int x = first; x < std::min(first + kBlock, box.br().x); ++x) {
        if (radius[x] <= from || radius[x] >= to) continue;
        const cv::Vec2d um =
            map.um_from_cell * cv::Vec2d(x - map.centre_cell.x, y - map.centre_cell.y);
        out[x] += static_cast<float>(rim.At({um[0], um[1]}, static_cast<double>(radius[x])));
      }
    }
  }
}

}  // namespace endgrade
