#include "endgrade/camera.h"
#include "endgrade/locate.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace endgrade {
namespace {

// Beside the rim, the core and the outer border the face's own rings leave more than noise.
constexpr double kRimReachUm = 5.0;
constexpr double kCoreReachUm = 3.0;
constexpr double kBorderUm = 1.0;

// Rings on which light is compared: clear of the core, the rim and the adhesive.
constexpr double kGlassFromUm = 14.0;
constexpr double kGlassToUm = 54.0;
constexpr double kFerruleFromUm = 76.0;
constexpr double kFerruleToUm = 122.0;
constexpr double kRingStepUm = 5.0;
constexpr int kDirections = 48;

constexpr int kBlockPx = 12;         // side of a block of pixels for the noise
constexpr double kCleanRatio = 6.0;  // noise of a cell: beyond it a block is not clean glass

// Semi-extent along an axis: of the ellipse |E d| <= 1 it is the root of (E^-2)(axis, axis).
double PixelAspect(const Ellipse& cladding) {
  const cv::Matx22d inverse = cladding.ToUnitCircle().inv();
  const cv::Matx22d square = inverse * inverse.t();
  return std::sqrt(square(0, 0) / square(1, 1));
}

bool IsFaceRing(const ContrastMap& map, double radius_um) {
  if (radius_um > map.outer_um - kBorderUm) return true;
  if (std::abs(radius_um - map.cladding_radius_um) < kRimReachUm) return true;
  if (map.core_radius_um <= 0) return false;
  const bool single_mode = map.core_radius_um < 10.0;
  return single_mode ? radius_um < map.core_radius_um + kCoreReachUm
                     : std::abs(radius_um - map.core_radius_um) < kCoreReachUm;
}

void FillRatio(const ContrastMap& map, CameraSample* sample) {
  const float nothing = std::numeric_limits<float>::quiet_NaN();
  sample->roi_px = map.roi_px;
  sample->cell_px = map.cell_px;
  sample->ratio = cv::Mat(map.level.size(), CV_32FC1, cv::Scalar::all(0));
  sample->ratio_noise = cv::Mat(map.level.size(), CV_32FC1, cv::Scalar::all(1));
  for (int y = 0; y < map.level.rows; ++y) {
    for (int x = 0; x < map.level.cols; ++x) {
      const float radius = map.radius_um.at<float>(y, x);
      const float background = map.background.at<float>(y, x);
      auto& ratio = sample->ratio.at<float>(y, x);
      if (background < 1.0F || IsFaceRing(map, static_cast<double>(radius))) {
        ratio = nothing;
        continue;
      }
      ratio = map.residual.at<float>(y, x) / background;
      sample->ratio_noise.at<float>(y, x) =
          static_cast<float>(map.ring_noise[map.RingOf(radius)]) / background;
    }
  }
}

// The level about a place, or nothing where a feature stands out there or the picture ends.
std::optional<double> LevelAt(const ContrastMap& map, cv::Point2d cell) {
  const int x = cvRound(cell.x);
  const int y = cvRound(cell.y);
  if (x < 2 || y < 2 || x + 2 >= map.level.cols || y + 2 >= map.level.rows) return std::nullopt;
  const cv::Rect around(x - 2, y - 2, 5, 5);
  const double level = cv::mean(map.level(around))[0];
  const double away = cv::mean(map.residual(around))[0];
  const double noise = map.ring_noise[map.RingOf(map.radius_um.at<float>(y, x))];
  if (level < 2.0 || std::abs(away) > 3.0 * noise) return std::nullopt;
  return level;
}

void ReadLight(const ContrastMap& map, const Scale& scale, CameraSample* sample) {
  int ring = 0;
  for (const auto& [from, to] :
       {std::pair{kGlassFromUm, kGlassToUm}, std::pair{kFerruleFromUm, kFerruleToUm}}) {
    for (double radius = from; radius <= to; radius += kRingStepUm, ++ring) {
      if (IsFaceRing(map, radius)) continue;
      for (int i = 0; i < kDirections; ++i) {
        const double angle = 2 * CV_PI * i / kDirections;
        const cv::Point2d p_px = scale.ToPx({radius * std::cos(angle), radius * std::sin(angle)});
        const auto level = LevelAt(map, map.CellFromPx(p_px));
        if (level) sample->light.push_back({ring, p_px, std::log(*level)});
      }
    }
  }
}

// Immerkaer 1996, "Fast noise variance estimation", equation 1 (from memory): a mask whose response
// to noise of variance v has variance 36 v, and to any slope or curvature none.
double BlockVariance(const cv::Mat& block) {
  double square = 0;
  for (int y = 1; y + 1 < block.rows; ++y) {
    const auto* a = block.ptr<float>(y - 1);
    const auto* b = block.ptr<float>(y);
    const auto* c = block.ptr<float>(y + 1);
    for (int x = 1; x + 1 < block.cols; ++x) {
      const float r = a[x - 1] - 2 * a[x] + a[x + 1] - 2 * b[x - 1] + 4 * b[x] - 2 * b[x + 1] +
                      c[x - 1] - 2 * c[x] + c[x + 1];
      square += static_cast<double>(r) * static_cast<double>(r);
    }
  }
  return square / (36.0 * (block.rows - 2) * (block.cols - 2));
}

void ReadBlocks(const Frame& frame, const ContrastMap& map, CameraSample* sample) {
  cv::Mat pixels;
  frame.luma(map.roi_px).convertTo(pixels, CV_32F);
  const double limit = map.cladding_radius_um - kRimReachUm;
  for (int y = 0; y + kBlockPx <= pixels.rows; y += kBlockPx) {
    for (int x = 0; x + kBlockPx <= pixels.cols; x += kBlockPx) {
      const cv::Point2d middle(x + 0.5 * kBlockPx, y + 0.5 * kBlockPx);
      const cv::Point2d cell = map.CellFromPx(middle + cv::Point2d(map.roi_px.tl()));
      const int cx = cvRound(cell.x);
      const int cy = cvRound(cell.y);
      if (cx < 0 || cy < 0 || cx >= map.level.cols || cy >= map.level.rows) continue;
      const auto radius = static_cast<double>(map.radius_um.at<float>(cy, cx));
      if (radius > limit || IsFaceRing(map, radius)) continue;
      const float away = std::abs(map.residual.at<float>(cy, cx));
      if (static_cast<double>(away) > kCleanRatio * map.glass_noise) continue;
      const cv::Mat block = pixels(cv::Rect(x, y, kBlockPx, kBlockPx));
      const double level = cv::mean(block)[0];
      if (level < 1.0 || level > 0.98 * frame.white_level) continue;
      sample->blocks.push_back({level, BlockVariance(block)});
    }
  }
}

}  // namespace

Result<CameraSample> SampleForCamera(const Frame& frame, const Limits& limits) {
  LocateOptions locate;
  locate.core_diameters_um = limits.fibre.core_diameters_um;
  const auto located = LocateFibre(frame, locate);
  if (!located.ok()) return located.error();
  if (!located->fibre) {
    return Error{ErrorKind::kUnsupported,
                 frame.path.string(),
                 0,
                 "no fibre was found in it, so it tells nothing of the camera",
                 "Leave it out, or take it again"};
  }
  const FibreGeometry& fibre = *located->fibre;
  const auto scale = SetScale(fibre, limits);
  if (!scale.ok()) return scale.error();
  const ZoneMap zones = LayZones(frame.luma.size(), *scale, limits);
  const ContrastMap map = Flatten(frame, fibre, *scale, zones);
  CameraSample sample;
  sample.path = frame.path;
  sample.sha256 = frame.sha256;
  sample.picture_px = frame.luma.size();
  sample.centre_px = fibre.cladding.centre_px;
  sample.um_per_px = scale->um_per_px;
  sample.fit_relative = 0.5 * fibre.cladding_radius_uncertainty_px / fibre.cladding.MeanRadius();
  const double whole = 0.5 * scale->um_per_px_uncertainty / scale->um_per_px;
  sample.tolerance_relative =
      std::sqrt(std::max(0.0, whole * whole - sample.fit_relative * sample.fit_relative));
  sample.pixel_aspect = PixelAspect(fibre.cladding);
  sample.blur_sigma_px = fibre.blur_sigma_px;
  if (map.level.empty()) return sample;
  FillRatio(map, &sample);
  ReadLight(map, *scale, &sample);
  ReadBlocks(frame, map, &sample);
  return sample;
}

}  // namespace endgrade
