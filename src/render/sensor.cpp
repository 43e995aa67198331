#include "render/sensor.h"

#include "render/develop.h"
#include "render/random.h"

#include <opencv2/core/utility.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::render {
namespace {

class Lamp {
 public:
  explicit Lamp(const SceneCamera& camera)
      : half_(0.5 * camera.width_px, 0.5 * camera.height_px), vignetting_(camera.vignetting) {
    const double angle = camera.light_direction_deg * std::numbers::pi / 180;
    slope_ = 0.5 * camera.light_slope * cv::Point2d(std::cos(angle), std::sin(angle));
  }

  double At(double x, double y) const {
    const cv::Point2d p((x - half_.x) / half_.x, (y - half_.y) / half_.y);
    return (1 - 0.5 * vignetting_ * p.dot(p)) * (1 + slope_.dot(p));
  }

 private:
  cv::Point2d half_;
  double vignetting_;
  cv::Point2d slope_;
};

}  // namespace

std::uint64_t CameraSeed(const SceneDescription& scene) {
  return scene.camera.unit != 0 ? scene.camera.unit : scene.seed;
}

// Dirt on a lens or in front of the sensor is far out of focus: soft discs. Dust on the sensor's
// window is small and throws a shadow of its own size.
std::vector<DirtSpot> LensDirt(const SceneDescription& scene) {
  Random random(SubSeed(CameraSeed(scene), 30));
  std::vector<DirtSpot> spots;
  const double side = std::min(scene.camera.width_px, scene.camera.height_px);
  for (int i = 0; i < scene.camera.lens_dirt; ++i) {
    const double x = random.Uniform(0, scene.camera.width_px);
    const double y = random.Uniform(0, scene.camera.height_px);
    spots.push_back({{x, y}, side * random.Uniform(0.015, 0.06), random.LogUniform(0.008, 0.06)});
  }
  Random dust(SubSeed(CameraSeed(scene), 31));
  for (int i = 0; i < scene.camera.sensor_dust; ++i) {
    const double x = dust.Uniform(0, scene.camera.width_px);
    const double y = dust.Uniform(0, scene.camera.height_px);
    spots.push_back({{x, y}, dust.Uniform(2.5, 8.0), dust.LogUniform(0.08, 0.5)});
  }
  return spots;
}

int FilterAt(int x, int y) {
  if ((x + y) % 2 == 0) return 1;
  return y % 2 == 0 ? 2 : 0;
}

cv::Mat GatherPixels(cv::Mat cells, const SubGrid& grid, const Optics& optics) {
  optics.Blur(cells, grid.cell_um);
  if (grid.steps == 1) return cells;
  const int s = grid.steps;
  cv::Mat pixels(cells.rows / s, cells.cols / s, CV_32FC1);
  const float share = 1.0F / static_cast<float>(s * s);
  cv::parallel_for_(cv::Range(0, pixels.rows), [&](const cv::Range& rows) {
    for (int y = rows.start; y < rows.end; ++y) {
      float* out = pixels.ptr<float>(y);
      for (int x = 0; x < pixels.cols; ++x) {
        float sum = 0;
        for (int j = 0; j < s; ++j) {
          const float* in = cells.ptr<float>(y * s + j) + x * s;
          for (int i = 0; i < s; ++i) sum += in[i];
        }
        out[x] = sum * share;
      }
    }
  });
  return pixels;
}

double ExtraDefocus(const SubGrid& grid, const SceneCamera& camera, cv::Point2d p_px) {
  if (camera.focus_slope == 0) return 0;
  const double angle = camera.focus_slope_direction_deg * std::numbers::pi / 180;
  const cv::Vec2d p_um =
      grid.um_from_px * cv::Vec2d(p_px.x - grid.centre_px.x, p_px.y - grid.centre_px.y);
  return camera.focus_slope * (p_um[0] * std::cos(angle) + p_um[1] * std::sin(angle));
}

namespace {

// A slope in focus: a few blurs, each pixel between the two nearest to its own.
cv::Mat ExposeSloped(const Canvas& canvas, const SceneDescription& scene, const cv::Rect& window) {
  constexpr int kLevels = 7;
  const SceneCamera& camera = scene.camera;
  double low = 0;
  double high = 0;
  for (const int x : {0, camera.width_px}) {
    for (const int y : {0, camera.height_px}) {
      const double extra = ExtraDefocus(canvas.grid, camera, cv::Point2d(x, y));
      low = std::min(low, extra);
      high = std::max(high, extra);
    }
  }
  const double step = std::max(1e-9, (high - low) / (kLevels - 1));
  cv::Mat sum = cv::Mat::zeros(window.size(), CV_32FC1);
  for (int level = 0; level < kLevels; ++level) {
    const double here = low + step * level;
    const cv::Mat blurred =
        GatherPixels(canvas.light.clone(), canvas.grid, Optics(camera, here))(window);
    for (int y = 0; y < sum.rows; ++y) {
      float* out = sum.ptr<float>(y);
      const float* in = blurred.ptr<float>(y);
      for (int x = 0; x < sum.cols; ++x) {
        const double away = ExtraDefocus(canvas.grid, camera, cv::Point2d(x, y)) - here;
        out[x] += in[x] * static_cast<float>(std::max(0.0, 1 - std::abs(away) / step));
      }
    }
  }
  return sum;
}

}  // namespace

cv::Mat Expose(const Canvas& canvas, const SceneDescription& scene) {
  const SceneCamera& camera = scene.camera;
  const int margin = canvas.grid.margin_px;
  const cv::Rect window(margin, margin, camera.width_px, camera.height_px);
  if (camera.focus_slope != 0) return ExposeSloped(canvas, scene, window);
  return GatherPixels(canvas.light.clone(), canvas.grid, Optics(camera))(window).clone();
}

cv::Mat ElectronsPerLight(const SceneDescription& scene) {
  const SceneCamera& camera = scene.camera;
  const auto spots = LensDirt(scene);
  const Lamp lamp(camera);
  cv::Mat gain(camera.height_px, camera.width_px, CV_32FC1);
  cv::parallel_for_(cv::Range(0, gain.rows), [&](const cv::Range& rows) {
    for (int y = rows.start; y < rows.end; ++y) {
      float* row = gain.ptr<float>(y);
      for (int x = 0; x < gain.cols; ++x) {
        double value = camera.exposure * camera.full_well_e * lamp.At(x, y);
        if (camera.colour == ColourMode::kColour) value *= camera.tint_bgr[FilterAt(x, y)];
        row[x] = static_cast<float>(value);
      }
      for (const DirtSpot& spot : spots) {
        const double dy = (y - spot.centre_px.y) / spot.radius_px;
        if (std::abs(dy) > 3) continue;
        const int x0 = std::max(0, static_cast<int>(spot.centre_px.x - 3 * spot.radius_px));
        const int x1 = std::min(gain.cols, static_cast<int>(spot.centre_px.x + 3 * spot.radius_px));
        for (int x = x0; x < x1; ++x) {
          const double dx = (x - spot.centre_px.x) / spot.radius_px;
          const double r2 = dx * dx + dy * dy;
          row[x] *= static_cast<float>(1 - spot.depth / (1 + r2 * r2 * r2));
        }
      }
    }
  });
  return gain;
}

PixelNoise::PixelNoise(const SceneCamera& camera)
    : read2_(camera.read_noise_e * camera.read_noise_e),
      entries_per_e_((kEntries - 1) / camera.full_well_e) {
  // Stored = linear^(1/gamma): one step of 1/255 is this many electrons.
  const double most_e = camera.full_well_e / 255.0 / (1 - camera.black_level) * camera.gamma;
  for (size_t i = 0; i < kEntries; ++i) {
    const double linear = std::max(1e-4, static_cast<double>(i) / (kEntries - 1));
    const double step_e = most_e * std::pow(linear, 1 - 1 / camera.gamma);
    rounding_e2_[i] = step_e * step_e / 12;
  }
}

double PixelNoise::Variance(double mean_e) const {
  const double at = std::clamp(mean_e * entries_per_e_, 0.0, kEntries - 1.0);
  return std::max(mean_e, 0.0) + read2_ + rounding_e2_[static_cast<size_t>(at)];
}

cv::Mat TakePicture(const cv::Mat& mean_e, const SceneDescription& scene) {
  const SceneCamera& camera = scene.camera;
  cv::Mat raw(mean_e.size(), CV_32FC1);
  const double read2 = camera.read_noise_e * camera.read_noise_e;
  const std::uint64_t noise_seed = SubSeed(SubSeed(scene.seed, 40), camera.shot);
  cv::parallel_for_(cv::Range(0, raw.rows), [&](const cv::Range& rows) {
    for (int y = rows.start; y < rows.end; ++y) {
      Random random(SubSeed(noise_seed, static_cast<std::uint64_t>(y)));
      const float* mean = mean_e.ptr<float>(y);
      float* out = raw.ptr<float>(y);
      for (int x = 0; x < raw.cols; ++x) {
        // Thousands of electrons: Poisson's law is Gaussian to well below one step of the picture.
        const double e = mean[x] + random.Normal() * std::sqrt(std::max(0.0F, mean[x]) + read2);
        out[x] = static_cast<float>(std::min(1.0, e / camera.full_well_e));
      }
    }
  });
  return Develop(raw, scene);
}

}  // namespace endgrade::render
