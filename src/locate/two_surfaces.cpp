#include "locate/two_surfaces.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace endgrade::locate {
namespace {

constexpr double kCladdingRadiusUm = 62.5;
// Grain is finer than this, and light changes more slowly; pixels' own noise is finer still.
constexpr double kCoarsestUm = 3.0;
constexpr double kFinestUm = 0.4;
// Shares of the radius: the core is further in, the adhesive between the two.
constexpr double kInnerFrom = 0.55;
constexpr double kInnerTo = 0.92;
constexpr double kOuterFrom = 1.12;
constexpr double kOuterTo = 1.45;
constexpr std::size_t kSectors = 16;
constexpr std::size_t kLeastCells = 60;  // on either side of a sector
constexpr std::size_t kLeastSectors = 6;
constexpr double kLeastTexture = 0.05;  // luma units: of what is wholly smooth
constexpr double kPlainly = 1.25;

constexpr double kLeastRatio = 1.5;
constexpr double kLeastShare = 0.9;

}  // namespace

Roughness CompareSides(const Level& level, const RimFrame& circle) {
  const RimFrame frame = level.FrameOf(circle);
  const double px_per_um = frame.Radius() / kCladdingRadiusUm;
  cv::Mat fine;
  cv::Mat coarse;
  cv::GaussianBlur(level.image, fine, cv::Size(), std::max(0.5, kFinestUm * px_per_um));
  cv::GaussianBlur(level.image, coarse, cv::Size(), std::max(1.5, kCoarsestUm * px_per_um));
  const cv::Mat texture = cv::abs(fine - coarse);
  const cv::Matx22d to_unit = frame.ToEllipse().ToUnitCircle();
  std::array<std::vector<float>, kSectors> inside;
  std::array<std::vector<float>, kSectors> outside;
  for (int y = 0; y < texture.rows; ++y) {
    for (int x = 0; x < texture.cols; ++x) {
      const cv::Vec2d at = to_unit * cv::Vec2d(x - frame.centre.x, y - frame.centre.y);
      const double radius = std::hypot(at[0], at[1]);
      const bool inner = radius > kInnerFrom && radius < kInnerTo;
      if (!inner && !(radius > kOuterFrom && radius < kOuterTo)) continue;
      const double turn = std::atan2(at[1], at[0]) / (2.0 * CV_PI) + 0.5;
      const auto sector = std::min(kSectors - 1, static_cast<std::size_t>(turn * kSectors));
      (inner ? inside : outside)[sector].push_back(texture.at<float>(y, x));
    }
  }
  std::vector<double> ratios;  // logarithms, of the outside over the inside
  for (std::size_t s = 0; s < kSectors; ++s) {
    if (std::min(inside[s].size(), outside[s].size()) < kLeastCells) continue;
    const auto rough = [](std::vector<float>& sector) {
      return kLeastTexture + static_cast<double>(Median(sector));
    };
    ratios.push_back(std::log(rough(outside[s]) / rough(inside[s])));
  }
  Roughness sides;
  if (ratios.size() < kLeastSectors) return sides;
  std::sort(ratios.begin(), ratios.end());
  const auto plainly = std::count_if(
      ratios.begin(), ratios.end(), [](double ratio) { return ratio > std::log(kPlainly); });
  sides.ratio = std::exp(ratios[ratios.size() / 2]);
  sides.share = static_cast<double>(plainly) / static_cast<double>(ratios.size());
  return sides;
}

bool AreTwoSurfaces(const Roughness& sides) {
  return sides.ratio >= kLeastRatio && sides.share >= kLeastShare;
}

}  // namespace endgrade::locate
