#include "locate/core_search.h"

#include "core/wide.h"
#include "locate/between_cells.h"
#include "locate/core_centre.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace endgrade::locate {
namespace {

constexpr double kCladdingRadiusUm = 62.5;
constexpr int kRays = 64;

// What to try, in micrometres (IEC 60793-2-10, ITU-T G.652, with room for blur; from memory).
struct CoreKind {
  double least_um, most_um;  // radius
  double window_um;          // brightness is averaged over this on either side of the edge
  double gap_um;             // left out on either side: the blur
  double furthest_um;        // of its centre from the cladding's
  double least_share;        // of directions that must show the step
  double least_contrast;     // of the glass's brightness
};
constexpr CoreKind kSingleMode{2.0, 6.6, 1.2, 0.3, 1.8, 0.80, 0.004};
// Light that changes across the glass makes rings of up to a per cent.
constexpr CoreKind kMultimode{22.0, 35.0, 2.0, 0.5, 2.5, 0.72, 0.010};

// Off the middle of the cladding, um. By how much a core's own fit is off is measured: of 240
// renders of two kinds without a mark near their core it lay up to 0.9 um off, with one that was
// taken for it 0.95 um and more.
constexpr double kConcentricUm = 0.6;
constexpr double kCoreFitUm = 0.4;
constexpr double kFaintCoreFitUm = 0.8;  // with a scratch beside it

constexpr double kLeastDarkUm = 3.2;
constexpr double kFaintContrast = 0.12;
constexpr double kFaintShare = 0.62;
constexpr double kLeastScore = 7.0;
// A wide core this faint may be light that changes across the glass: a narrow one that stands out
// this many times more is the core.
constexpr double kFaintStep = 3.0;  // luma units
constexpr double kPlainerTimes = 3.0;

struct Patch {
  cv::Mat level;     // CV_32FC1
  double um = 0.25;  // a cell
  double per_um = 4.0;
  double half_um = 0;
  double px_um = 0.25;  // of the picture that it was read from
};

// The middle of the cladding, turned into a circle of its nominal size.
Patch ReadPatch(const Frame& frame, const Ellipse& cladding, double half_um, double um) {
  Patch patch;
  patch.um = um;
  patch.per_um = 1.0 / um;
  patch.half_um = half_um;
  patch.px_um = kCladdingRadiusUm / cladding.MeanRadius();
  const int side = 2 * static_cast<int>(std::ceil(half_um / um)) + 1;
  patch.half_um = 0.5 * (side - 1) * um;
  // Take pixels in (nearly) once each: smooth first where several fall into one cell.
  const cv::Matx22d px_from_um = cladding.ToUnitCircle().inv() * (1.0 / kCladdingRadiusUm);
  const double reach = patch.half_um / kCladdingRadiusUm * cladding.semi_major_px + 4;
  const cv::Rect box = cv::Rect(static_cast<int>(std::floor(cladding.centre_px.x - reach)),
                                static_cast<int>(std::floor(cladding.centre_px.y - reach)),
                                static_cast<int>(std::ceil(2 * reach)) + 2,
                                static_cast<int>(std::ceil(2 * reach)) + 2) &
                       cv::Rect(0, 0, frame.luma.cols, frame.luma.rows);
  if (box.width < 8 || box.height < 8) return patch;
  cv::Mat part;
  frame.luma(box).convertTo(part, CV_32F);
  const double sigma = 0.4 * um / patch.px_um;
  if (sigma > 0.4) cv::GaussianBlur(part, part, cv::Size(), sigma);
  const cv::Matx23d affine(
      px_from_um(0, 0) * um,
      px_from_um(0, 1) * um,
      cladding.centre_px.x - box.x - (px_from_um(0, 0) + px_from_um(0, 1)) * patch.half_um,
      px_from_um(1, 0) * um,
      px_from_um(1, 1) * um,
      cladding.centre_px.y - box.y - (px_from_um(1, 0) + px_from_um(1, 1)) * patch.half_um);
  cv::warpAffine(part,
                 patch.level,
                 affine,
                 cv::Size(side, side),
                 cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                 cv::BORDER_REPLICATE);
  return patch;
}

struct Trial {
  cv::Point2d centre_um;
  double radius_um = 0;
  double step = 0;   // inside minus outside, median over the directions
  double share = 0;  // of directions that show at least 0.4 of it
  double score = 0;  // step over its own uncertainty
  bool faint = false;
};

// How good a trial is to look at: a large step that is there all around.
double Merit(const Trial& trial) { return std::abs(trial.step) * trial.share * trial.share; }

struct Directions {
  std::array<float, kRays> cos{}, sin{};

  Directions() {
    for (size_t ray = 0; ray < kRays; ++ray) {
      const double angle = 2.0 * CV_PI * static_cast<double>(ray) / kRays;
      cos[ray] = static_cast<float>(std::cos(angle));
      sin[ray] = static_cast<float>(std::sin(angle));
    }
  }
};

// Adds what lies on a circle, one place a ray, to the sums so far; all lengths in cells.
ENDGRADE_WIDE void AddCircle(const cv::Mat& level,
                             cv::Point2f centre,
                             float radius,
                             const Directions& directions,
                             const float* __restrict so_far,
                             float* __restrict sums) {
  static_assert(kRays == BetweenCells::kMost);
  BetweenCells between(level.ptr<float>(0), static_cast<int>(level.step1()));
  const Eight none = {};
  const Eight right = none + (static_cast<float>(level.cols) - 1.001F);
  const Eight bottom = none + (static_cast<float>(level.rows) - 1.001F);
  for (size_t ray = 0; ray < kRays; ray += BetweenCells::kEight) {
    Eight x = centre.x + radius * EightAt(directions.cos.data() + ray).value;
    Eight y = centre.y + radius * EightAt(directions.sin.data() + ray).value;
    x = x < none ? none : x;
    y = y < none ? none : y;
    between.Set(ray, right < x ? right : x, bottom < y ? bottom : y);
  }
  between.Add(so_far, kRays, sums);
}

// Whether the middle of the steps is greater than `least`, or less than -`least`.
ENDGRADE_WIDE bool MiddleExceeds(const std::array<float, kRays>& steps, float least) {
  int above = 0;
  int below = 0;
  for (const float step : steps) {
    above += step > least ? 1 : 0;
    below += step < -least ? 1 : 0;
  }
  return above >= kRays / 2 || below > kRays / 2;
}

// The step on every radius of the kind, about one centre.
class Circle {
 public:
  Circle(const Patch& patch, const CoreKind& kind, cv::Point2d centre_um)
      : kind_(kind), step_um_(patch.um), px_um_(patch.px_um), centre_um_(centre_um) {
    const double to = kind.most_um + kind.gap_um + kind.window_um + patch.um;
    columns_ = static_cast<int>(std::ceil(to / step_um_)) + 2;
    sums_.assign(static_cast<size_t>(columns_), {});
    static const Directions directions;
    const cv::Point2f centre((centre_um + cv::Point2d(patch.half_um, patch.half_um)) *
                             patch.per_um);
    for (size_t i = 1; i < sums_.size(); ++i) {
      const float radius = static_cast<float>(i) - 0.5F;
      AddCircle(patch.level, centre, radius, directions, sums_[i - 1].data(), sums_[i].data());
    }
  }

  // A trial whose merit is not more than `least_merit` is left without a score.
  [[nodiscard]] Trial At(double radius_um, double least_merit) const {
    const double inner = std::max(0.0, radius_um - kind_.gap_um - kind_.window_um);
    const Band inside = BandOf(inner, radius_um - kind_.gap_um);
    const Band outside =
        BandOf(radius_um + kind_.gap_um, radius_um + kind_.gap_um + kind_.window_um);
    std::array<float, kRays> steps{};
    for (size_t ray = 0; ray < kRays; ++ray) {
      steps[ray] = (inside.to[ray] - inside.from[ray]) / inside.count -
                   (outside.to[ray] - outside.from[ray]) / outside.count;
    }
    Trial trial;
    trial.centre_um = centre_um_;
    trial.radius_um = radius_um;
    // A share is 1 at most. Rounding must not leave one out.
    if (!MiddleExceeds(steps, static_cast<float>(0.999999 * least_merit))) return trial;
    auto sorted = steps;
    std::nth_element(sorted.begin(), sorted.begin() + kRays / 2, sorted.end());
    const float median = sorted[kRays / 2];
    int shown = 0;
    for (const float step : steps) shown += step * median > 0.4F * median * median ? 1 : 0;
    trial.step = static_cast<double>(median);
    trial.share = static_cast<double>(shown) / kRays;
    if (!(Merit(trial) > least_merit)) return trial;
    for (size_t i = 0; i < kRays; ++i) sorted[i] = std::abs(steps[i] - median);
    std::nth_element(sorted.begin(), sorted.begin() + kRays / 2, sorted.end());
    const double spread = 1.4826 * static_cast<double>(sorted[kRays / 2]) + 0.02;
    // Rays closer together than a pixel or two are not independent.
    const double free_rays =
        std::clamp(2.0 * CV_PI * radius_um / std::max(1.5 * px_um_, 0.6), 4.0, 1.0 * kRays);
    trial.score = std::abs(trial.step) / spread * std::sqrt(free_rays);
    return trial;
  }

 private:
  // Sums at the two ends of a stretch of the rays, and the places between.
  struct Band {
    const float* from;
    const float* to;
    float count;
  };

  [[nodiscard]] Band BandOf(double from_um, double to_um) const {
    const int from = static_cast<int>(std::lround(from_um / step_um_));
    const int to = std::max(from + 1, static_cast<int>(std::lround(to_um / step_um_)));
    return {sums_[static_cast<size_t>(from)].data(),
            sums_[static_cast<size_t>(std::min(to, columns_ - 1))].data(),
            static_cast<float>(to - from)};
  }

  const CoreKind& kind_;
  double step_um_;
  double px_um_;
  cv::Point2d centre_um_;
  int columns_ = 0;
  std::vector<std::array<float, kRays>> sums_;  // running sums along all rays, by place
};

Trial BestOnGrid(
    const Patch& patch, const CoreKind& kind, cv::Point2d about, double reach, double step) {
  Trial best;
  for (double y = -reach; y <= reach + 1e-9; y += step) {
    for (double x = -reach; x <= reach + 1e-9; x += step) {
      const cv::Point2d centre = about + cv::Point2d(x, y);
      if (std::hypot(centre.x, centre.y) > kind.furthest_um) continue;
      const Circle circle(patch, kind, centre);
      for (double r = kind.least_um; r <= kind.most_um + 1e-9; r += patch.um) {
        const Trial trial = circle.At(r, Merit(best));
        if (Merit(trial) > Merit(best)) best = trial;
      }
    }
  }
  return best;
}

// The median brightness of the circle of this radius, um.
float LevelAround(const Patch& patch, cv::Point2d centre_um, double radius_um) {
  static const Directions directions;
  const std::array<float, kRays> none{};
  std::array<float, kRays> levels{};
  const cv::Point2f centre((centre_um + cv::Point2d(patch.half_um, patch.half_um)) * patch.per_um);
  AddCircle(patch.level,
            centre,
            static_cast<float>(radius_um * patch.per_um),
            directions,
            none.data(),
            levels.data());
  std::nth_element(levels.begin(), levels.begin() + kRays / 2, levels.end());
  return levels[kRays / 2];
}

// Whether the brightness falls as slowly as in a Gaussian, all the way from the middle: between a
// quarter and three quarters of its height 0.9 sigma, 0.8 of the radius at half of it.
bool IsFaintBell(const Patch& patch, const Trial& trial) {
  constexpr double kReachUm = 9.0;
  constexpr double kStepUm = 0.2;
  constexpr double kMostContrast = 0.25;
  constexpr double kLeastSlow = 0.6;
  const auto glass = static_cast<double>(LevelAround(patch, trial.centre_um, kReachUm));
  const double height = glass - static_cast<double>(LevelAround(patch, trial.centre_um, 0.0));
  if (!(height > 0) || height > kMostContrast * glass) return false;
  const auto radius_at = [&](double share) {
    double radius = 0;
    while (radius < kReachUm &&
           glass - static_cast<double>(LevelAround(patch, trial.centre_um, radius)) >
               share * height) {
      radius += kStepUm;
    }
    return radius;
  };
  const double half = radius_at(0.5);
  return half > 0 && radius_at(0.25) - radius_at(0.75) >= kLeastSlow * half;
}

// Whether a faint dark bell counts as a core: in glass that is known, but not to tell that it is
// glass.
enum class DarkBells { kCount, kNone };

std::optional<Trial> Try(const Frame& frame,
                         const Ellipse& cladding,
                         const CoreKind& kind,
                         DarkBells bells) {
  const double um = kind.most_um < 10 ? 0.2 : 0.5;
  const double half = kind.most_um + kind.window_um + kind.gap_um + kind.furthest_um + 1.0;
  const Patch patch = ReadPatch(frame, cladding, half, um);
  if (patch.level.empty()) return std::nullopt;
  const double coarse = kind.most_um < 10 ? 0.6 : 1.25;
  Trial best = BestOnGrid(patch, kind, {0, 0}, kind.furthest_um, coarse);
  best = BestOnGrid(patch, kind, best.centre_um, 0.5 * coarse, 0.25 * coarse);
  cv::Scalar glass = cv::mean(patch.level);
  const double contrast = std::abs(best.step) / std::max(glass[0], 1.0);
  // Two scratches across it hide a third of a single-mode core's edge. A step as faint as an unlit
  // core's may be that interrupted; a stronger one, broken so, is rather a particle.
  best.faint = contrast < kFaintContrast;
  const bool narrow = kind.most_um < kMultimode.least_um;
  const double least_share =
      narrow && best.faint ? std::min(kind.least_share, kFaintShare) : kind.least_share;
  const bool clear =
      best.score >= kLeastScore && best.share >= least_share && contrast >= kind.least_contrast;
  if (!clear) return std::nullopt;
  // Only a lit core is seen smaller than the core is: half of its bell's height is 2.7 um out. An
  // unlit one may show the same bell, darker; a dark particle has an edge, and is darker yet.
  if (best.radius_um < kLeastDarkUm && best.step < 0 &&
      (bells == DarkBells::kNone || !IsFaintBell(patch, best))) {
    return std::nullopt;
  }
  // At the end of the range it is not a step of this size but something larger or smaller.
  if (best.radius_um <= kind.least_um + 0.5 * um || best.radius_um >= kind.most_um - 0.5 * um) {
    return std::nullopt;
  }
  if (!narrow) {
    const FacePatch face =
        WithEvenLight({patch.level, patch.um, patch.half_um}, best.centre_um, best.radius_um);
    const auto centre = CentreByBorder(face, best.centre_um, best.radius_um);
    const bool sound = centre && std::hypot(centre->x, centre->y) <= kind.furthest_um;
    const auto unlikeness = [&](cv::Point2d c) {
      return UnlikenessAround(face, c, best.radius_um);
    };
    if (sound && unlikeness(*centre) < unlikeness(best.centre_um)) best.centre_um = *centre;
  }
  return best;
}

std::optional<Ellipse> Search(const Frame& frame,
                              const Ellipse& cladding,
                              double centre_uncertainty_px,
                              DarkBells bells) {
  const auto multi = Try(frame, cladding, kMultimode, bells);
  const bool faint = !multi || std::abs(multi->step) < kFaintStep;
  const auto single = faint ? Try(frame, cladding, kSingleMode, bells) : std::nullopt;
  if (!multi && !single) return std::nullopt;
  const bool narrow =
      single && (!multi || std::abs(single->step) > kPlainerTimes * std::abs(multi->step));
  const Trial& found = narrow ? *single : *multi;
  const cv::Matx22d px_from_um = cladding.ToUnitCircle().inv() * (1.0 / kCladdingRadiusUm);
  const cv::Vec2d shift = px_from_um * cv::Vec2d(found.centre_um.x, found.centre_um.y);
  Ellipse core = cladding;
  core.centre_px += cv::Point2d(shift[0], shift[1]);
  core.semi_major_px *= found.radius_um / kCladdingRadiusUm;
  core.semi_minor_px *= found.radius_um / kCladdingRadiusUm;
  if (!MayLieThere(core, cladding, centre_uncertainty_px, found.faint)) return std::nullopt;
  return core;
}

}  // namespace

std::optional<Ellipse> SearchPlainCore(const Frame& frame,
                                       const Ellipse& cladding,
                                       double centre_uncertainty_px,
                                       double least_step) {
  const auto core = Search(frame, cladding, centre_uncertainty_px, DarkBells::kNone);
  if (!core) return std::nullopt;
  const double radius_um = core->MeanRadius() * kCladdingRadiusUm / cladding.MeanRadius();
  const Patch patch = ReadPatch(frame, cladding, 1.7 * radius_um + kMultimode.furthest_um, 0.25);
  if (patch.level.empty()) return std::nullopt;
  const cv::Point2d shift = core->centre_px - cladding.centre_px;
  const cv::Vec2d um = cladding.ToUnitCircle() * kCladdingRadiusUm * cv::Vec2d(shift.x, shift.y);
  const bool disc =
      IsDisc({patch.level, patch.um, patch.half_um}, {um[0], um[1]}, radius_um, least_step);
  return disc ? core : std::nullopt;
}

Ellipse MoreAlikeAround(const Frame& frame,
                        const Ellipse& cladding,
                        const Ellipse& core,
                        const Ellipse& other) {
  const double um_per_px = kCladdingRadiusUm / cladding.MeanRadius();
  const double radius_um = 0.5 * (core.MeanRadius() + other.MeanRadius()) * um_per_px;
  constexpr double kRoomUm = 10.0;
  const Patch patch = ReadPatch(frame, cladding, radius_um + kRoomUm, 0.5);
  if (patch.level.empty()) return core;
  const cv::Matx22d um = cladding.ToUnitCircle() * kCladdingRadiusUm;
  const auto place = [&](const Ellipse& at) {
    const cv::Point2d shift = at.centre_px - cladding.centre_px;
    const cv::Vec2d centre = um * cv::Vec2d(shift.x, shift.y);
    return cv::Point2d(centre[0], centre[1]);
  };
  const FacePatch face =
      WithEvenLight({patch.level, patch.um, patch.half_um}, place(core), radius_um);
  const auto unlikeness = [&](const Ellipse& at) {
    return UnlikenessAround(face, place(at), radius_um);
  };
  return unlikeness(other) < unlikeness(core) ? other : core;
}

bool MayLieThere(const Ellipse& core,
                 const Ellipse& cladding,
                 double centre_uncertainty_px,
                 bool faint) {
  const double um_per_px = kCladdingRadiusUm / cladding.MeanRadius();
  if (core.MeanRadius() * um_per_px > kMultimode.least_um) return true;
  const cv::Matx22d um = cladding.ToUnitCircle() * kCladdingRadiusUm;
  const cv::Point2d shift = core.centre_px - cladding.centre_px;
  const double off_um = cv::norm(um * cv::Vec2d(shift.x, shift.y));
  const double fit_um = faint ? kFaintCoreFitUm : kCoreFitUm;
  return off_um <= kConcentricUm + fit_um + centre_uncertainty_px * um_per_px;
}

std::optional<Ellipse> SearchCore(const Frame& frame,
                                  const Ellipse& cladding,
                                  double centre_uncertainty_px) {
  return Search(frame, cladding, centre_uncertainty_px, DarkBells::kCount);
}

}  // namespace endgrade::locate
