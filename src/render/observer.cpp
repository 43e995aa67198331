#include "render/observer.h"

#include "render/optics.h"
#include "render/sensor.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

constexpr int kBlockSide_px = 128;
constexpr int kMostMargin_px = 48;

cv::Rect PixelsOf(const SubGrid& grid, const cv::Rect& cells) {
  const int s = grid.steps;
  const cv::Point low(cells.x / s - grid.margin_px, cells.y / s - grid.margin_px);
  const cv::Point high((cells.x + cells.width + s - 1) / s - grid.margin_px,
                       (cells.y + cells.height + s - 1) / s - grid.margin_px);
  return {low, high};
}

}  // namespace

Observer::Observer(const SceneDescription& scene,
                   const Face& face,
                   const Canvas& canvas,
                   const cv::Mat& mean_e,
                   const cv::Mat& electrons_per_light)
    : scene_(scene),
      face_(face),
      canvas_(canvas),
      mean_e_(mean_e),
      electrons_per_light_(electrons_per_light),
      optics_(scene.camera),
      noise_(scene.camera),
      glass_textured_(scene.face.glass_grain_rms > 0),
      ferrule_textured_(scene.face.grain_rms > 0 || scene.face.lines_rms > 0) {}

bool Observer::OnGlass(cv::Point2d p_px) const {
  if (!scene_.fibre.present) return false;
  const cv::Vec2d p = canvas_.grid.um_from_px * cv::Vec2d(p_px.x - canvas_.grid.centre_px.x,
                                                          p_px.y - canvas_.grid.centre_px.y);
  const double radius = scene_.fibre.cladding_diameter_um / 2;
  return p.dot(p) < radius * radius;
}

// Light with the feature minus light without it, as pixels see it, per unit of lamp.
cv::Mat Observer::Difference(const Stamp& stamp,
                             const cv::Rect& outer_px,
                             const Optics& optics) const {
  const SubGrid& grid = canvas_.grid;
  const int s = grid.steps;
  const cv::Point origin((outer_px.x + grid.margin_px) * s, (outer_px.y + grid.margin_px) * s);
  cv::Mat cells = cv::Mat::zeros(outer_px.height * s, outer_px.width * s, CV_32FC1);
  const cv::Rect window(origin, cells.size());
  for (const Stamp::Tile& tile : stamp.tiles) {
    const cv::Rect shared = tile.cells & window;
    if (shared.empty()) continue;
    for (int y = shared.y; y < shared.y + shared.height; ++y) {
      const float* light = canvas_.light.ptr<float>(y);
      const float* factor = tile.factor.ptr<float>(y - tile.cells.y);
      float* out = cells.ptr<float>(y - origin.y);
      for (int x = shared.x; x < shared.x + shared.width; ++x) {
        out[x - origin.x] = light[x] * (1 - 1 / factor[x - tile.cells.x]);
      }
    }
  }
  return GatherPixels(cells, grid, optics);
}

void Observer::Whiten(cv::Mat& difference, double mean_e, double white_e2, bool ferrule) const {
  const cv::Matx22d& a = canvas_.grid.um_from_px;
  const cv::Matx22d to_face = a.inv().t();
  const double area_um2 = std::abs(cv::determinant(a));
  const cv::Point2d pixel_um = canvas_.grid.cell_um * canvas_.grid.steps;
  cv::dft(difference, difference);
  ScaleSpectrum(difference, {1, 1}, [&](double fx, double fy) {
    const double transfer =
        optics_.TransferAt(std::hypot(fx / pixel_um.x, fy / pixel_um.y)) * Sinc(fx) * Sinc(fy);
    if (transfer * transfer < 1e-6) return 1.0;
    // Both signs of fx and fy share a packed cell's gain: take the mean over the two slants.
    double texture = 0;
    for (const double sign : {1.0, -1.0}) {
      const cv::Vec2d f = to_face * cv::Vec2d(fx, sign * fy);
      const cv::Point2d on_face(f[0], f[1]);
      texture += 0.5 * (ferrule ? face_.FerruleSpectrum(on_face) : face_.GlassSpectrum(on_face));
    }
    return 1 /
           std::sqrt(1 + mean_e * mean_e * texture * transfer * transfer / (area_um2 * white_e2));
  });
  cv::dft(difference, difference, cv::DFT_INVERSE | cv::DFT_SCALE | cv::DFT_REAL_OUTPUT);
}

void Observer::LookAtBlock(const Stamp& stamp, const cv::Rect& block, Sums& sums) const {
  const int margin = std::min(canvas_.grid.margin_px, kMostMargin_px);
  const int s = canvas_.grid.steps;
  cv::Rect outer(
      block.x - margin, block.y - margin, block.width + 2 * margin, block.height + 2 * margin);
  outer.width = cv::getOptimalDFTSize(outer.width * s) / s;
  outer.height = cv::getOptimalDFTSize(outer.height * s) / s;
  const cv::Point middle(outer.x + outer.width / 2, outer.y + outer.height / 2);
  const double extra = ExtraDefocus(canvas_.grid, scene_.camera, middle);
  const Optics local = extra == 0 ? optics_ : Optics(scene_.camera, extra);
  const cv::Mat difference = Difference(stamp, outer, local);

  const cv::Rect picture(0, 0, mean_e_.cols, mean_e_.rows);
  const cv::Rect seen = outer & picture;
  if (seen.empty()) return;
  cv::Mat difference_e = cv::Mat::zeros(difference.size(), CV_32FC1);
  double mean[2] = {0, 0};
  double variance[2] = {0, 0};
  int count[2] = {0, 0};
  for (int y = seen.y; y < seen.y + seen.height; ++y) {
    for (int x = seen.x; x < seen.x + seen.width; ++x) {
      const float d =
          difference.at<float>(y - outer.y, x - outer.x) * electrons_per_light_.at<float>(y, x);
      difference_e.at<float>(y - outer.y, x - outer.x) = d;
      const int glass = OnGlass({static_cast<double>(x), static_cast<double>(y)}) ? 1 : 0;
      const double without = mean_e_.at<float>(y, x) - d;
      mean[glass] += without;
      variance[glass] += noise_.Variance(without);
      ++count[glass];
    }
  }
  cv::Mat whitened[2] = {difference_e, difference_e};
  for (const int glass : {0, 1}) {
    if (count[glass] == 0 || !(glass == 1 ? glass_textured_ : ferrule_textured_)) continue;
    whitened[glass] = difference_e.clone();
    Whiten(whitened[glass], mean[glass] / count[glass], variance[glass] / count[glass], glass == 0);
  }
  const cv::Rect inside = block & picture;
  for (int y = inside.y; y < inside.y + inside.height; ++y) {
    for (int x = inside.x; x < inside.x + inside.width; ++x) {
      if (mean_e_.at<float>(y, x) >= scene_.camera.full_well_e) continue;
      const cv::Point at(x - outer.x, y - outer.y);
      const int glass = OnGlass({static_cast<double>(x), static_cast<double>(y)}) ? 1 : 0;
      const double d = difference_e.at<float>(at);
      const double w = whitened[glass].at<float>(at);
      const double without = std::max(1.0, mean_e_.at<float>(y, x) - d);
      sums.snr2 += w * w / noise_.Variance(without);
      sums.dark = std::min(sums.dark, d / without);
      sums.bright = std::max(sums.bright, d / without);
    }
  }
}

Sighting Observer::Look(const Stamp& stamp) const {
  if (stamp.tiles.empty()) return {};
  const int reach = std::min(canvas_.grid.margin_px, kMostMargin_px) / 2;
  cv::Rect all = PixelsOf(canvas_.grid, stamp.tiles.front().cells);
  for (const Stamp::Tile& tile : stamp.tiles) all |= PixelsOf(canvas_.grid, tile.cells);
  all = cv::Rect(all.x - reach, all.y - reach, all.width + 2 * reach, all.height + 2 * reach);
  Sums sums;
  for (int y = all.y; y < all.y + all.height; y += kBlockSide_px) {
    for (int x = all.x; x < all.x + all.width; x += kBlockSide_px) {
      const cv::Rect block = cv::Rect(x, y, kBlockSide_px, kBlockSide_px) & all;
      const cv::Rect near(
          block.x - reach, block.y - reach, block.width + 2 * reach, block.height + 2 * reach);
      const bool touched =
          std::any_of(stamp.tiles.begin(), stamp.tiles.end(), [&](const Stamp::Tile& tile) {
            return !(PixelsOf(canvas_.grid, tile.cells) & near).empty();
          });
      if (touched) LookAtBlock(stamp, block, sums);
    }
  }
  const double contrast = sums.bright > -sums.dark ? sums.bright : sums.dark;
  return {std::sqrt(sums.snr2), contrast};
}

double Observer::DiscSnr(cv::Point2d centre_um, double diameter_um, double contrast) const {
  SceneFeature disc;
  disc.centre_um = centre_um;
  disc.diameter_um = diameter_um;
  disc.contrast = contrast;
  const auto shape = MakeShape(disc, scene_.fibre);
  // The disc is not in the light: what it would take away is what adding it changes, so its factor
  // enters the other way round.
  Stamp stamp = MakeStamp(*shape, disc, scene_, canvas_.grid, canvas_.light);
  for (Stamp::Tile& tile : stamp.tiles) {
    for (int y = 0; y < tile.factor.rows; ++y) {
      float* row = tile.factor.ptr<float>(y);
      for (int x = 0; x < tile.factor.cols; ++x) row[x] = 1 / (2 - row[x]);
    }
  }
  return Look(stamp).snr;
}

}  // namespace endgrade::render
