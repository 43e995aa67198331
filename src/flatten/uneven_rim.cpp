#include "flatten/uneven_rim.h"

#include "core/wide.h"
#include "flatten/cell_grid.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <limits>
#include <numbers>

namespace endgrade {
namespace {

constexpr int kPlaces = 128;          // around the turn
constexpr double kReachUm = 18.0;     // of a running median, to either side
constexpr double kMostSpreads = 3.0;  // of a circle's own unevenness
constexpr double kIntoGlassUm = 2.0;  // beyond the blur: further in, the glass is even
constexpr double kFadeUm = 1.0;
constexpr size_t kLeastSeen = 8;  // samples of a median
constexpr float kUnseen = std::numeric_limits<float>::quiet_NaN();

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

// The place on a circle of `count` samples; windows reach beyond its first and its last.
size_t Around(int place, int count) { return static_cast<size_t>((place + count) % count); }

// The median around each of kPlaces places of one circle; what too little is seen of stays NaN.
// `circle`: NaN outside the picture.
void RunningMedians(const std::vector<float>& circle, int reach, float* medians) {
  const int count = static_cast<int>(circle.size());
  const auto at = [&](int i) { return circle[Around(i, count)]; };
  Window window;
  int next = -reach;
  for (int place = 0; place < kPlaces; ++place) {
    const int middle = place * count / kPlaces;
    for (; next <= middle + reach; ++next) {
      window.Add(at(next));
      const int gone = next - (2 * reach + 1);
      if (gone >= -reach) window.Remove(at(gone));
    }
    medians[place] = window.size() < kLeastSeen ? kUnseen : window.Median();
  }
}

constexpr int kSide = 8;  // circles side by side
using OfEach = std::array<float, kSide>;

// Takes `next` into the values that are in order, of each circle; the last has room for one more.
[[gnu::always_inline]] inline void Insert(const Eight& next, size_t size, OfEach* sorted) {
  Eight above = next;
  for (size_t i = 0; i < size; ++i) {
    const Eight here = EightAt(sorted[i].data()).value;
    EightAt(sorted[i].data()).value = here < above ? here : above;
    above = here < above ? above : here;
  }
  EightAt(sorted[size].data()).value = above;
}

// The same in place of `gone`, which is among them.
[[gnu::always_inline]] inline void Replace(const Eight& gone,
                                           const Eight& next,
                                           size_t size,
                                           OfEach* sorted) {
  // `above` is what an order with both would go on with. From `gone` on, all move down by one.
  const Eight first = EightAt(sorted[0].data()).value;
  Eight here = first < next ? first : next;
  Eight above = first < next ? next : first;
  for (size_t i = 0; i + 1 < size; ++i) {
    const Eight old = EightAt(sorted[i + 1].data()).value;
    const Eight after = old < above ? old : above;
    above = old < above ? above : old;
    EightAt(sorted[i].data()).value = here < gone ? here : after;
    here = after;
  }
  EightAt(sorted[size - 1].data()).value = here < gone ? here : above;
}

// RunningMedians of circles that are seen all around. `sorted` has room for a window.
ENDGRADE_WIDE void RunningMediansOfEach(const std::vector<OfEach>& circles,
                                        int reach,
                                        OfEach* sorted,
                                        OfEach* medians) {
  const int count = static_cast<int>(circles.size());
  const auto at = [&](int i) { return circles[Around(i, count)].data(); };
  const size_t size = 2 * static_cast<size_t>(reach) + 1;
  for (size_t i = 0; i < size; ++i) {
    Insert(EightAt(at(static_cast<int>(i) - reach)).value, i, sorted);
  }
  int last = reach;
  for (int place = 0; place < kPlaces; ++place) {
    for (const int to = place * count / kPlaces + reach; last < to; ++last) {
      const int next = last + 1;
      const int gone = last - 2 * reach;
      Replace(EightAt(at(gone)).value, EightAt(at(next)).value, size, sorted);
    }
    medians[place] = sorted[size / 2];
  }
}

// Holds the medians of a circle within what it does as a whole; 0 where too little is seen.
void Hold(float* medians) {
  std::vector<float> known;
  std::remove_copy_if(medians, medians + kPlaces, std::back_inserter(known), [](float value) {
    return std::isnan(value);
  });
  const float middle = MedianOf(known);
  const float most = static_cast<float>(kMostSpreads) * SigmaAbout(middle, known);
  for (int place = 0; place < kPlaces; ++place) {
    const float value = medians[place];
    medians[place] = std::isnan(value) ? 0.0F : std::clamp(value, middle - most, middle + most);
  }
}

// The medians of up to kSide circles, each held within what it does as a whole; kPlaces of each,
// circle by circle. `circles`: by direction; NaN outside the picture.
class Smoother {
 public:
  explicit Smoother(int reach)
      : reach_(reach), sorted_(2 * static_cast<size_t>(reach) + 1), medians_(kPlaces) {}

  void Smooth(const std::vector<OfEach>& circles, size_t some, float* out) {
    if (SeenAllAround(circles)) {
      RunningMediansOfEach(circles, reach_, sorted_.data(), medians_.data());
      for (size_t i = 0; i < some; ++i) {
        for (size_t place = 0; place < kPlaces; ++place) {
          out[i * kPlaces + place] = medians_[place][i];
        }
      }
    } else {
      std::vector<float> circle(circles.size());
      for (size_t i = 0; i < some; ++i) {
        for (size_t d = 0; d < circle.size(); ++d) circle[d] = circles[d][i];
        RunningMedians(circle, reach_, out + i * kPlaces);
      }
    }
    for (size_t i = 0; i < some; ++i) Hold(out + i * kPlaces);
  }

 private:
  [[nodiscard]] bool SeenAllAround(const std::vector<OfEach>& circles) const {
    if (sorted_.size() < kLeastSeen || sorted_.size() > circles.size()) return false;
    return std::none_of(circles.begin(), circles.end(), [](const OfEach& values) {
      return std::any_of(
          values.begin(), values.end(), [](float value) { return std::isnan(value); });
    });
  }

  int reach_;
  std::vector<OfEach> sorted_;
  std::vector<OfEach> medians_;
};

// 0 at `from` and `to`, 1 where it is kFadeUm from both.
double Fade(double value, double from, double to) {
  return std::clamp(std::min(value - from, to - value) / kFadeUm, 0.0, 1.0);
}

}  // namespace

UnevenRim::UnevenRim(const ContrastMap& map,
                     const FaceRings& rings,
                     const PolarSamples& samples,
                     const RingTable& even,
                     const std::vector<double>& uneven) {
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
  Smoother smoother(reach);
  std::vector<OfEach> circles(static_cast<size_t>(samples.num_directions));
  for (int i = 0; i < num_radii_; i += kSide) {
    const int some = std::min(kSide, num_radii_ - i);
    for (int k = 0; k < some; ++k) {
      const int radius = first + i + k;
      const double by_radius = even.At(samples.Radius(radius));
      for (int d = 0; d < samples.num_directions; ++d) {
        const double expected = by_radius + uneven[samples.IndexOf(radius, d)];
        circles[static_cast<size_t>(d)][static_cast<size_t>(k)] =
            samples.At(radius, d) - static_cast<float>(expected);
      }
    }
    smoother.Smooth(
        circles, static_cast<size_t>(some), values_.data() + static_cast<size_t>(i) * kPlaces);
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
