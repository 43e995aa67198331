#include "locate/ring_fit.h"

#include "core/wide.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

namespace endgrade::locate {
namespace {

constexpr int kRays = 96;
constexpr int kQuickRays = 64;
constexpr double kPitch = 0.7;  // columns, in pixels of the level
constexpr size_t kEdgesPerRay = 3;
constexpr double kClearEdge = 2.0;   // least slope of an edge, in units of the noise
constexpr double kMostWeight = 6.0;  // of an edge, in the same
constexpr int kDraws = 100;          // of three edges; one in five is all rim when 60 % are
// What non-square pixels (5 %) and tilt make of a circle: half the difference of the axes.
constexpr double kOvalSpread = 0.02;

// The clearest edges on one ray, the clearest first.
class RayEdges {
 public:
  void Add(const RayEdge& edge) {
    if (count_ == kEdgesPerRay && edge.weight <= edges_[count_ - 1].weight) return;
    if (count_ < kEdgesPerRay) ++count_;
    size_t place = count_ - 1;
    for (; place > 0 && edges_[place - 1].weight < edge.weight; --place) {
      edges_[place] = edges_[place - 1];
    }
    edges_[place] = edge;
  }

  [[nodiscard]] size_t size() const { return count_; }
  [[nodiscard]] bool empty() const { return count_ == 0; }
  [[nodiscard]] const RayEdge* begin() const { return edges_.data(); }
  [[nodiscard]] const RayEdge* end() const { return edges_.data() + count_; }
  const RayEdge& operator[](size_t i) const { return edges_[i]; }

 private:
  std::array<RayEdge, kEdgesPerRay> edges_;
  size_t count_ = 0;
};

struct Sight {
  std::vector<RayEdges> rays;
  int in_view = 0;
};

// The clearest edges of the wanted polarity on each ray.
Sight FindEdges(
    const PolarMap& map, const cv::Mat& slope, int polarity, double noise, double span) {
  Sight sight;
  sight.rays.resize(static_cast<size_t>(slope.rows));
  const int middle = slope.cols / 2;
  const int from = std::max(1, static_cast<int>(map.ColumnAt(1.0 - span)));
  const int to = std::min(slope.cols - 1, static_cast<int>(map.ColumnAt(1.0 + span)) + 1);
  for (int ray = 0; ray < slope.rows; ++ray) {
    const auto* row = slope.ptr<float>(ray);
    if (std::isfinite(row[middle])) ++sight.in_view;
    std::optional<cv::Point2d> direction;
    for (int column = from; column < to; ++column) {
      const double here = polarity * static_cast<double>(row[column]);
      const double before = polarity * static_cast<double>(row[column - 1]);
      const double after = polarity * static_cast<double>(row[column + 1]);
      if (!(here > kClearEdge * noise && here > before && here >= after)) continue;
      const double bend = 2.0 * here - before - after;
      const double top = column + (bend > 0 ? 0.5 * (after - before) / bend : 0.0);
      if (!direction) {
        const double angle = 2.0 * CV_PI * ray / slope.rows;
        direction = {std::cos(angle), std::sin(angle)};
      }
      sight.rays[static_cast<size_t>(ray)].Add(
          {direction->x, direction->y, map.RadiusAt(top) - 1.0, here / noise});
    }
  }
  return sight;
}

// Three edges give size and shift. Nothing where they are too close together.
std::optional<RimOffset> ThroughThree(const RayEdge& a, const RayEdge& b, const RayEdge& c) {
  const cv::Matx33d m(1, a.cos_t, a.sin_t, 1, b.cos_t, b.sin_t, 1, c.cos_t, c.sin_t);
  if (std::abs(cv::determinant(m)) < 0.3) return std::nullopt;
  const cv::Vec3d x = m.inv() * cv::Vec3d(a.offset, b.offset, c.offset);
  return RimOffset{x[0], x[1], x[2], 0, 0};
}

// A small generator with a fixed seed: the same picture gives the same draws everywhere.
class Draws {
 public:
  size_t Below(size_t count) {
    state_ = state_ * 6364136223846793005ULL + 1442695040888963407ULL;
    return static_cast<size_t>((state_ >> 33U) % count);
  }

 private:
  std::uint64_t state_ = 20150611;
};

// The edges of four rays side by side. Edges that a ray does not have weigh nothing.
constexpr size_t kFourRays = 4;
struct FourRays {
  using OfEach = std::array<double, kFourRays>;
  OfEach cos_t{}, sin_t{};
  std::array<OfEach, kEdgesPerRay> offset{}, weight{};
};

std::vector<FourRays> InFours(const std::vector<const RayEdges*>& rays) {
  std::vector<FourRays> fours((rays.size() + kFourRays - 1) / kFourRays);
  for (size_t ray = 0; ray < rays.size(); ++ray) {
    FourRays& four = fours[ray / kFourRays];
    const size_t lane = ray % kFourRays;
    const RayEdges& edges = *rays[ray];
    // The edges of one ray lie in one direction.
    four.cos_t[lane] = edges[0].cos_t;
    four.sin_t[lane] = edges[0].sin_t;
    for (size_t i = 0; i < edges.size(); ++i) {
      four.offset[i][lane] = edges[i].offset;
      four.weight[i][lane] = std::min(edges[i].weight, kMostWeight);
    }
  }
  return fours;
}

// As far as it may be more than `least`.
ENDGRADE_WIDE double Agreement(const std::vector<FourRays>& rays,
                               const RimOffset& offset,
                               double tolerance,
                               double least) {
  // Rounding must not leave one out.
  constexpr double kMostOfFour = kFourRays * kMostWeight * 1.000001;
  double sum = 0.0;
  auto to_come = static_cast<double>(rays.size());
  for (const FourRays& four : rays) {
    if (sum + kMostOfFour * to_come < least) return sum;
    to_come -= 1.0;
    const Four c = FourAt(four.cos_t.data()).value;
    const Four s = FourAt(four.sin_t.data()).value;
    // RimOffset::At
    const Four there = offset.size + offset.shift_x * c + offset.shift_y * s +
                       offset.oval_c * (c * c - s * s) + offset.oval_s * 2.0 * c * s;
    Four best = {};
    for (size_t i = 0; i < kEdgesPerRay; ++i) {
      const Four miss = (FourAt(four.offset[i].data()).value - there) / tolerance;
      const Four here = (1.0 - miss * miss) * FourAt(four.weight[i].data()).value;
      best = here > best ? here : best;
    }
    for (size_t lane = 0; lane < kFourRays; ++lane) sum += best[lane];
  }
  return sum;
}

// The circle that most edges agree with (RANSAC; Fischler and Bolles 1981).
std::optional<RimOffset> DrawBest(const Sight& sight, double reach, double tolerance) {
  std::vector<const RayEdges*> rays;
  for (const auto& edges : sight.rays) {
    if (!edges.empty()) rays.push_back(&edges);
  }
  if (rays.size() < 12) return std::nullopt;
  Draws draws;
  const std::vector<FourRays> fours = InFours(rays);
  RimOffset best;  // the guess itself is the first to be tried
  double best_agreement = Agreement(fours, best, tolerance, 0.0);
  for (int draw = 0; draw < kDraws; ++draw) {
    const size_t first = draws.Below(rays.size());
    const size_t third = rays.size() / 3;
    const auto& a = *rays[first];
    const auto& b = *rays[(first + third / 2 + draws.Below(third)) % rays.size()];
    const auto& c = *rays[(first + third / 2 + third + draws.Below(third)) % rays.size()];
    const auto offset =
        ThroughThree(a[draws.Below(a.size())], b[draws.Below(b.size())], c[draws.Below(c.size())]);
    if (!offset || std::abs(offset->size) > reach ||
        std::hypot(offset->shift_x, offset->shift_y) > reach) {
      continue;
    }
    const double agreement = Agreement(fours, *offset, tolerance, best_agreement);
    if (agreement > best_agreement) {
      best_agreement = agreement;
      best = *offset;
    }
  }
  if (best_agreement <= 0.0) return std::nullopt;
  return best;
}

// On each ray the edge nearest to the rim, if near enough.
std::vector<RayEdge> NearestEdges(const Sight& sight, const RimOffset& offset, double tolerance) {
  std::vector<RayEdge> nearest;
  for (const auto& edges : sight.rays) {
    if (edges.empty()) continue;
    const double there = offset.At(edges[0].cos_t, edges[0].sin_t);
    const RayEdge* best = nullptr;
    double best_miss = tolerance;
    for (const RayEdge& edge : edges) {
      const double miss = std::abs(edge.offset - there);
      if (miss < best_miss) {
        best_miss = miss;
        best = &edge;
      }
    }
    if (best != nullptr) nearest.push_back(*best);
  }
  return nearest;
}

struct Pass {
  PolarMap map;
  Sight sight;
  double noise = 0;
};

Pass Look(const Level& level, const RimFrame& frame, double reach, int polarity, Care care) {
  const double radius = frame.Radius();
  const double smoothing = std::max(1.0, 0.015 * radius) / kPitch;
  // The kernel needs room beyond the last place that an edge may be, and the noise some more.
  const double room = std::max(reach, 0.25) + 2.6 * smoothing * kPitch / radius;
  PolarGrid grid;
  const bool quick = care == Care::kQuick;
  grid.rays = quick ? kQuickRays : kRays;
  grid.averaged =
      quick ? 1 : std::clamp(static_cast<int>(radius * 2.0 * CV_PI / kRays / 2.0), 1, 3);
  grid.from = std::max(0.05, 1.0 - room);
  grid.to = 1.0 + room;
  grid.columns = std::max(8, static_cast<int>((grid.to - grid.from) * radius / kPitch) + 1);
  Pass pass;
  pass.map = SampleRays(level, frame, grid);
  const cv::Mat slope = SlopeAlongRays(pass.map.values, smoothing);
  pass.noise = std::max(0.03, RobustSpread(slope));
  pass.sight = FindEdges(pass.map, slope, polarity, pass.noise, reach);
  return pass;
}

}  // namespace

namespace {

// Of a fit of an offset's five numbers, the last of them apart from the four before it.
struct OffsetSums {
  std::array<Four, 5> square;  // its lower half
  double last_square = 0;
  Four right;
  double last_right = 0;
};

ENDGRADE_WIDE void AddEdges(const std::vector<RayEdge>& edges,
                            const RimOffset& offset,
                            double tolerance,
                            OffsetSums* sums) {
  OffsetSums all = *sums;
  for (const RayEdge& edge : edges) {
    const double c = edge.cos_t;
    const double s = edge.sin_t;
    const double miss = (edge.offset - offset.At(c, s)) / tolerance;
    if (std::abs(miss) >= 1.0) continue;
    const double keep = 1.0 - miss * miss;
    const double weight = keep * keep * std::min(edge.weight, kMostWeight);
    const double last = 2.0 * c * s;
    const Four basis = {1.0, c, s, c * c - s * s};
    const Four parts = weight * basis;
    const double last_part = weight * last;
    for (int i = 0; i < 4; ++i) all.square[static_cast<size_t>(i)] += parts[i] * basis;
    all.square[4] += last_part * basis;
    all.last_square += last_part * last;
    const double weighted = weight * edge.offset;
    all.right += weighted * basis;
    all.last_right += weighted * last;
  }
  *sums = all;
}

}  // namespace

RimOffset FitOffset(const std::vector<RayEdge>& edges, const RimOffset& start, double tolerance) {
  RimOffset offset = start;
  const double hold = tolerance * tolerance / (kOvalSpread * kOvalSpread) / 9.0;
  constexpr double kLittle = 1e-9;
  for (int round = 0; round < 6; ++round) {
    OffsetSums sums{};
    for (size_t i = 0; i < 3; ++i) sums.square[i][i] = kLittle;
    sums.square[3][3] = sums.last_square = hold;
    AddEdges(edges, offset, tolerance, &sums);
    cv::Matx<double, 5, 5> normal = cv::Matx<double, 5, 5>::zeros();  // its lower half
    cv::Vec<double, 5> right;
    for (int i = 0; i < 4; ++i) {
      for (int j = 0; j <= i; ++j) normal(i, j) = sums.square[static_cast<size_t>(i)][j];
      normal(4, i) = sums.square[4][i];
      right[i] = sums.right[i];
    }
    normal(4, 4) = sums.last_square;
    right[4] = sums.last_right;
    const cv::Vec<double, 5> x = normal.solve(right, cv::DECOMP_CHOLESKY);
    offset = {x[0], x[1], x[2], x[3], x[4]};
  }
  return offset;
}

std::optional<Ring> FitRing(const Level& level, const CircleGuess& guess, double reach, Care care) {
  RimFrame frame = level.FrameOf(guess.frame);
  Ring ring;
  ring.polarity = guess.polarity;
  const int passes = care == Care::kQuick ? 2 : 3;
  for (int round = 0; round < passes; ++round) {
    const double within = reach * std::pow(0.5, round);
    const double radius = frame.Radius();
    if (!(radius > 4.0)) return std::nullopt;
    const double span = std::max(within, 3.0 / radius);
    const Pass pass = Look(level, frame, span, guess.polarity, care);
    const double tolerance = std::max(0.025, 1.2 / radius);
    RimOffset offset;
    if (round == 0) {
      const auto drawn = DrawBest(pass.sight, reach, std::max(0.03, 1.5 / radius));
      if (!drawn) return std::nullopt;
      offset = *drawn;
    }
    offset = FitOffset(NearestEdges(pass.sight, offset, 2.0 * tolerance), offset, 2.0 * tolerance);
    const auto edges = NearestEdges(pass.sight, offset, tolerance);
    offset = FitOffset(edges, offset, tolerance);
    const double largest = std::abs(offset.size) + std::hypot(offset.shift_x, offset.shift_y) +
                           std::hypot(offset.oval_c, offset.oval_s);
    if (!(largest < 0.5)) return std::nullopt;
    double square = 0.0;
    std::vector<float> heights;
    for (const RayEdge& edge : edges) {
      const double miss = edge.offset - offset.At(edge.cos_t, edge.sin_t);
      square += miss * miss;
      heights.push_back(static_cast<float>(edge.weight));
    }
    const auto count = static_cast<double>(edges.size());
    const auto rays = static_cast<double>(pass.sight.rays.size());
    ring.seen = count / rays;
    ring.in_view = static_cast<double>(pass.sight.in_view) / rays;
    ring.scatter = std::sqrt(square / std::max(1.0, count));
    ring.strength = static_cast<double>(Median(heights));
    frame = frame.Moved(offset);
  }
  ring.radius_in_level = frame.Radius();
  ring.frame = level.PictureOf(frame);
  return ring;
}

}  // namespace endgrade::locate
