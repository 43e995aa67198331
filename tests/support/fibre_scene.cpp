#include "tests/support/fibre_scene.h"

#include <jpeglib.h>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <random>

namespace endgrade::testing {
namespace {

constexpr double kTurn = 2.0 * CV_PI;

class Dice {
 public:
  explicit Dice(std::uint64_t seed) : engine_(seed * 0x9E3779B97F4A7C15ULL + 77) {}
  double Unit() { return static_cast<double>(engine_() >> 11U) * 0x1.0p-53; }
  double In(double low, double high) { return low + (high - low) * Unit(); }
  double InLog(double low, double high) { return std::exp(In(std::log(low), std::log(high))); }
  bool Chance(double share) { return Unit() < share; }
  int Int(int low, int high) { return low + static_cast<int>(Unit() * (high - low + 1)); }
  double Sign() { return Chance(0.5) ? 1.0 : -1.0; }
  std::uint64_t Raw() { return engine_(); }

 private:
  std::mt19937_64 engine_;
};

cv::Mat WhiteNoise(cv::Size size, std::uint64_t seed) {
  cv::Mat noise(size, CV_32F);
  cv::RNG rng(seed | 1U);
  rng.fill(noise, cv::RNG::NORMAL, 0.0, 1.0);
  return noise;
}

// Noise of unit spread, smooth over `sigma` pixels.
cv::Mat SmoothNoise(cv::Size size, double sigma, std::uint64_t seed) {
  const double shrink = std::max(1.0, sigma / 2.0);
  const cv::Size small(std::max(4, static_cast<int>(size.width / shrink)),
                       std::max(4, static_cast<int>(size.height / shrink)));
  cv::Mat noise = WhiteNoise(small, seed);
  cv::GaussianBlur(noise, noise, {0, 0}, std::max(0.3, sigma / shrink));
  cv::Scalar mean, spread;
  cv::meanStdDev(noise, mean, spread);
  noise = (noise - mean[0]) / spread[0];
  if (small != size) cv::resize(noise, noise, size, 0, 0, cv::INTER_CUBIC);
  return noise;
}

void Blur(cv::Mat& image, double sigma) {
  if (sigma < 0.05) return;
  if (sigma < 6.0) {
    cv::GaussianBlur(image, image, {0, 0}, sigma, sigma, cv::BORDER_REPLICATE);
    return;
  }
  // Wide blurs at half the size: what the halving loses is far below what the blur takes.
  cv::Mat padded, half;
  const cv::Size size = image.size();
  cv::copyMakeBorder(image, padded, 0, size.height % 2, 0, size.width % 2, cv::BORDER_REPLICATE);
  cv::resize(padded, half, {padded.cols / 2, padded.rows / 2}, 0, 0, cv::INTER_AREA);
  Blur(half, std::sqrt(sigma * sigma / 4.0 - 0.08));
  cv::resize(half, padded, padded.size(), 0, 0, cv::INTER_LINEAR);
  image = padded(cv::Rect({0, 0}, size)).clone();
}

struct Canvas {
  const Scene* scene;
  cv::Matx22d um_from_px, px_from_um;
  cv::Mat image;  // CV_32F

  [[nodiscard]] cv::Point2d Um(double x, double y) const {
    const cv::Vec2d d(x - scene->truth.centre_px.x, y - scene->truth.centre_px.y);
    const cv::Vec2d um = um_from_px * d;
    return {um[0], um[1]};
  }
  [[nodiscard]] cv::Point2d Px(cv::Point2d um) const {
    const cv::Vec2d px = px_from_um * cv::Vec2d(um.x, um.y);
    return {scene->truth.centre_px.x + px[0], scene->truth.centre_px.y + px[1]};
  }
};

// Share of a pixel inside an edge whose signed distance outwards is `d_um`.
double Inside(double d_um, double um_per_px) {
  return std::clamp(0.5 - d_um / um_per_px, 0.0, 1.0);
}

double CoreShare(const FibreTruth& truth, cv::Point2d um) {
  const double r = std::hypot(um.x - truth.core_offset_um.x, um.y - truth.core_offset_um.y);
  const double radius = 0.5 * truth.CoreDiameterUm();
  if (truth.core == CoreKind::kSingleMode) {
    // A lit single-mode core is a Gaussian of the mode field; an unlit one a small disc.
    if (truth.core_level > truth.cladding) return std::exp(-2.0 * r * r / (radius * radius));
    return Inside(r - radius, truth.um_per_px);
  }
  const double share = r / radius;
  // Graded index: brightest in the middle, with the edge still a step.
  return Inside(r - radius, truth.um_per_px) * (1.0 - 0.45 * std::min(1.0, share * share));
}

void DrawFace(Canvas& canvas, const cv::Mat& grain) {
  const FibreTruth& truth = canvas.scene->truth;
  const double radius = 0.5 * truth.cladding_diameter_um;
  for (int y = 0; y < canvas.image.rows; ++y) {
    auto* row = canvas.image.ptr<float>(y);
    const auto* texture = grain.ptr<float>(y);
    for (int x = 0; x < canvas.image.cols; ++x) {
      double value = truth.ferrule + canvas.scene->nuisance.grain * static_cast<double>(texture[x]);
      const cv::Point2d um = canvas.Um(x, y);
      const double r = std::hypot(um.x, um.y);
      if (truth.ferrule_edge_um > 0) {
        const double in = Inside(r - 0.5 * truth.ferrule_edge_um, truth.um_per_px);
        value = in * value + (1.0 - in) * 6.0;
      }
      if (truth.present && r < radius + truth.ring_um + 3.0 * truth.um_per_px) {
        if (truth.ring_um > 0) {
          const double in = Inside(r - radius - truth.ring_um, truth.um_per_px);
          value = in * truth.ring_level + (1.0 - in) * value;
        }
        double glass = truth.cladding;
        if (truth.core != CoreKind::kNone) {
          glass += (truth.core_level - truth.cladding) * CoreShare(truth, um);
        }
        const double in = Inside(r - radius, truth.um_per_px);
        value = in * glass + (1.0 - in) * value;
      }
      row[x] = static_cast<float>(value);
    }
  }
}

// An irregular blot: radius wobbles with the angle.
struct Blot {
  cv::Point2d at_um;
  double radius_um = 5;
  double level = 30;
  double opacity = 1.0;
  double rim_only = 0.0;  // share of the radius that is drawn, from the outside; 0: all of it
  std::array<double, 4> wobble{}, phase{};

  [[nodiscard]] double RadiusAt(double angle) const {
    double r = 1.0;
    for (size_t i = 0; i < wobble.size(); ++i) {
      r += wobble[i] * std::cos(static_cast<double>(i + 2) * angle + phase[i]);
    }
    return radius_um * r;
  }
};

Blot RandomBlot(Dice& dice, cv::Point2d at_um, double radius_um, double roughness) {
  Blot blot;
  blot.at_um = at_um;
  blot.radius_um = radius_um;
  for (size_t i = 0; i < blot.wobble.size(); ++i) {
    blot.wobble[i] = dice.In(-roughness, roughness) / static_cast<double>(i + 1);
    blot.phase[i] = dice.In(0, kTurn);
  }
  return blot;
}

void DrawBlot(Canvas& canvas, const Blot& blot) {
  const double um_per_px = canvas.scene->truth.um_per_px;
  const cv::Point2d middle = canvas.Px(blot.at_um);
  const int reach = static_cast<int>(1.8 * blot.radius_um / um_per_px) + 3;
  const cv::Rect box = cv::Rect(static_cast<int>(middle.x) - reach,
                                static_cast<int>(middle.y) - reach,
                                2 * reach + 1,
                                2 * reach + 1) &
                       cv::Rect({0, 0}, canvas.image.size());
  for (int y = box.y; y < box.br().y; ++y) {
    auto* row = canvas.image.ptr<float>(y);
    for (int x = box.x; x < box.br().x; ++x) {
      const cv::Point2d d = canvas.Um(x, y) - blot.at_um;
      const double r = std::hypot(d.x, d.y);
      const double edge = blot.RadiusAt(std::atan2(d.y, d.x));
      double share = Inside(r - edge, um_per_px);
      if (blot.rim_only > 0) share *= 1.0 - Inside(r - edge * (1.0 - blot.rim_only), um_per_px);
      const double alpha = share * blot.opacity;
      row[x] = static_cast<float>((1.0 - alpha) * static_cast<double>(row[x]) + alpha * blot.level);
    }
  }
}

// Blots along arcs of the rim until the wanted share of it is hidden.
void HideRim(Canvas& canvas, Dice& dice, double fraction) {
  const double radius = 0.5 * canvas.scene->truth.cladding_diameter_um;
  std::vector<bool> hidden(360, false);
  const auto share = [&] {
    return static_cast<double>(std::count(hidden.begin(), hidden.end(), true)) / 360.0;
  };
  for (int tries = 0; tries < 200 && share() < fraction - 0.02; ++tries) {
    const double angle = dice.In(0, kTurn);
    const double at = radius * dice.In(0.94, 1.08);
    Blot blot =
        RandomBlot(dice, {at * std::cos(angle), at * std::sin(angle)}, dice.InLog(3.0, 22.0), 0.25);
    blot.level = dice.Chance(0.75) ? dice.In(5, 80) : dice.In(120, 230);
    blot.opacity = dice.In(0.75, 1.0);
    std::vector<bool> with = hidden;
    for (int degree = 0; degree < 360; ++degree) {
      const double t = degree * kTurn / 360.0;
      const cv::Point2d d = cv::Point2d(radius * std::cos(t), radius * std::sin(t)) - blot.at_um;
      if (std::hypot(d.x, d.y) < blot.RadiusAt(std::atan2(d.y, d.x))) {
        with[static_cast<size_t>(degree)] = true;
      }
    }
    if (static_cast<double>(std::count(with.begin(), with.end(), true)) / 360.0 > fraction) {
      continue;
    }
    hidden = with;
    DrawBlot(canvas, blot);
  }
}

void DrawChips(Canvas& canvas, Dice& dice, int count) {
  const double radius = 0.5 * canvas.scene->truth.cladding_diameter_um;
  for (int i = 0; i < count; ++i) {
    const double angle = dice.In(0, kTurn);
    const double size = dice.InLog(2.0, 9.0);
    Blot chip = RandomBlot(dice, {radius * std::cos(angle), radius * std::sin(angle)}, size, 0.3);
    chip.level = dice.Chance(0.6) ? dice.In(5, 50) : dice.In(180, 245);
    DrawBlot(canvas, chip);
  }
}

void DrawScratch(Canvas& canvas, Dice& dice) {
  const cv::Size size = canvas.image.size();
  const cv::Point2d from(dice.In(0, size.width), dice.In(0, size.height));
  const double angle = dice.In(0, kTurn);
  const double length = dice.InLog(0.1, 1.2) * size.width;
  const cv::Point2d to = from + length * cv::Point2d(std::cos(angle), std::sin(angle));
  const int width =
      std::max(1, static_cast<int>(dice.InLog(0.5, 6.0) / canvas.scene->truth.um_per_px));
  cv::Mat layer = cv::Mat::zeros(size, CV_8U);
  cv::line(layer, from, to, cv::Scalar(255), width, cv::LINE_AA);
  cv::Mat weight;
  layer.convertTo(weight, CV_32F, dice.Sign() * dice.In(10, 70) / 255.0);
  canvas.image += weight;
}

cv::Point2d Anywhere(const Canvas& canvas, Dice& dice) {
  return canvas.Um(dice.In(0, canvas.image.cols), dice.In(0, canvas.image.rows));
}

void DrawDirt(Canvas& canvas, Dice& dice) {
  const Nuisance& nuisance = canvas.scene->nuisance;
  const double view_um = canvas.image.rows * canvas.scene->truth.um_per_px;
  for (int i = 0; i < nuisance.films; ++i) {
    Blot film = RandomBlot(dice, Anywhere(canvas, dice), dice.In(0.1, 0.4) * view_um, 0.3);
    film.level = dice.In(60, 200);
    film.opacity = dice.In(0.08, 0.3);
    DrawBlot(canvas, film);
  }
  for (int i = 0; i < nuisance.droplets; ++i) {
    Blot drop =
        RandomBlot(dice, Anywhere(canvas, dice), dice.In(0.04, 0.25) * view_um, dice.In(0, 0.06));
    drop.level = dice.Chance(0.7) ? dice.In(10, 90) : dice.In(180, 240);
    drop.opacity = dice.In(0.4, 0.9);
    drop.rim_only = dice.In(0.04, 0.12);
    DrawBlot(canvas, drop);
  }
  for (int i = 0; i < nuisance.specks; ++i) {
    Blot speck = RandomBlot(dice, Anywhere(canvas, dice), dice.InLog(0.5, 8.0), 0.3);
    speck.level = dice.Chance(0.8) ? dice.In(5, 90) : dice.In(170, 250);
    DrawBlot(canvas, speck);
  }
  for (int i = 0; i < nuisance.scratches; ++i) DrawScratch(canvas, dice);
}

void ApplyLight(const Scene& scene, cv::Mat& image) {
  const Nuisance& n = scene.nuisance;
  const double c = std::cos(n.light_axis_deg * CV_PI / 180.0);
  const double s = std::sin(n.light_axis_deg * CV_PI / 180.0);
  const double cx = 0.5 * image.cols;
  const double cy = 0.5 * image.rows;
  const double corner = cx * cx + cy * cy;
  for (int y = 0; y < image.rows; ++y) {
    auto* row = image.ptr<float>(y);
    for (int x = 0; x < image.cols; ++x) {
      const double dx = x - cx;
      const double dy = y - cy;
      double light = 1.0 + n.light_slope * (dx * c + dy * s) / std::max(image.cols, image.rows);
      light *= 1.0 - n.vignetting * (dx * dx + dy * dy) / corner;
      double value = static_cast<double>(row[x]) * light;
      if (n.mask_radius_px > 0) {
        const double r = std::hypot(x - n.mask_centre_px.x, y - n.mask_centre_px.y);
        const double in = std::clamp(0.5 - (r - n.mask_radius_px) / 2.0, 0.0, 1.0);
        value = in * value + (1.0 - in) * 3.0;
      }
      row[x] = static_cast<float>(value);
    }
  }
}

void DrawReticle(const Scene& scene, Dice& dice, cv::Mat& image) {
  if (scene.nuisance.reticle == 0) return;
  const cv::Size size = image.size();
  const cv::Point2d middle(0.5 * size.width + dice.In(-0.05, 0.05) * size.width,
                           0.5 * size.height + dice.In(-0.05, 0.05) * size.height);
  const cv::Scalar ink(dice.Chance(0.5) ? dice.In(0, 40) : dice.In(200, 255));
  const int width = dice.Int(1, std::max(1, size.width / 500));
  cv::Mat layer = cv::Mat::zeros(size, CV_8U);
  const auto line = [&](cv::Point2d a, cv::Point2d b) {
    cv::line(layer, a, b, cv::Scalar(255), width, cv::LINE_AA);
  };
  line({0, middle.y}, {static_cast<double>(size.width), middle.y});
  line({middle.x, 0}, {middle.x, static_cast<double>(size.height)});
  if (scene.nuisance.reticle == 2) {
    const double unit = dice.In(0.08, 0.2) * size.height;
    for (int i = 1; i <= dice.Int(1, 4); ++i) {
      cv::circle(layer, middle, static_cast<int>(unit * i), cv::Scalar(255), width, cv::LINE_AA);
    }
  }
  if (scene.nuisance.reticle == 3) {
    for (int x = 0; x < size.width; x += std::max(6, size.width / 60)) {
      line({static_cast<double>(x), middle.y - 6}, {static_cast<double>(x), middle.y + 6});
    }
  }
  cv::Mat weight;
  layer.convertTo(weight, CV_32F, 1.0 / 255.0);
  image = image.mul(1.0 - weight) + weight * ink[0];
}

void DrawText(const Scene& scene, Dice& dice, cv::Mat& image) {
  if (!scene.nuisance.text) return;
  const double scale = image.cols / 800.0 * dice.In(0.6, 1.4);
  const int thick = std::max(1, static_cast<int>(scale * 2));
  const double ink = dice.Chance(0.7) ? 255 : 0;
  const std::array<std::string, 3> lines = {"2024-03-17 14:08:55", "PORT 07 OK", "x400 100 um"};
  for (size_t i = 0; i < lines.size(); ++i) {
    if (i > 0 && dice.Chance(0.4)) continue;
    const cv::Point at(
        static_cast<int>(dice.In(0.01, 0.6) * image.cols),
        static_cast<int>((dice.Chance(0.5) ? dice.In(0.04, 0.12) : dice.In(0.9, 0.98)) *
                         image.rows));
    cv::putText(
        image, lines[i], at, cv::FONT_HERSHEY_SIMPLEX, scale, cv::Scalar(ink), thick, cv::LINE_AA);
  }
}

void ApplyCamera(const Scene& scene, Dice& dice, cv::Mat& image) {
  const Nuisance& n = scene.nuisance;
  if (n.gamma != 1.0) {
    cv::Mat scaled = cv::max(image, 0.0) / 255.0;
    cv::pow(scaled, n.gamma, scaled);
    image = scaled * 255.0;
  }
  image *= n.gain;
  cv::Mat noise = WhiteNoise(image.size(), dice.Raw());
  if (n.shot > 0) {
    cv::Mat spread = cv::max(image, 0.0) * (n.shot * n.shot / 255.0) + n.noise * n.noise;
    cv::sqrt(spread, spread);
    image += noise.mul(spread);
  } else {
    image += noise * n.noise;
  }
  if (n.moire > 0) {
    const double a = dice.In(0, kTurn);
    const double period = dice.In(3, 25);
    for (int y = 0; y < image.rows; ++y) {
      auto* row = image.ptr<float>(y);
      for (int x = 0; x < image.cols; ++x) {
        row[x] += static_cast<float>(
            n.moire * std::sin(kTurn * (x * std::cos(a) + y * std::sin(a)) / period));
      }
    }
  }
  if (n.sharpen > 0) {
    cv::Mat soft;
    cv::GaussianBlur(image, soft, {0, 0}, n.sharpen_px);
    image += n.sharpen * (image - soft);
  }
  if (n.interlace_px != 0) {
    // Half to either side, so that the truth stays where it is.
    for (int y = 0; y < image.rows; ++y) {
      cv::Mat line = image.row(y).clone();
      const double shift = (y % 2 == 0 ? -0.5 : 0.5) * n.interlace_px;
      const cv::Matx23d move(1, 0, shift, 0, 1, 0);
      cv::warpAffine(line, image.row(y), move, line.size(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
    }
  }
}

}  // namespace

cv::Matx22d FibreTruth::UmFromPx() const {
  const double root = std::sqrt(aspect);
  const cv::Matx22d pixel(um_per_px / root, 0, 0, um_per_px * root);
  const double c = std::cos(tilt_axis_deg * CV_PI / 180.0);
  const double s = std::sin(tilt_axis_deg * CV_PI / 180.0);
  const double shorten = std::cos(tilt_deg * CV_PI / 180.0);
  const cv::Matx22d turn(c, s, -s, c);
  const double even = std::sqrt(shorten);
  const cv::Matx22d stretch(even / shorten, 0, 0, even);
  return turn.t() * stretch * turn * pixel;
}

double FibreTruth::CoreDiameterUm() const {
  switch (core) {
    case CoreKind::kSingleMode:
      return 9.0;
    case CoreKind::kMultimode50:
      return 50.0;
    case CoreKind::kMultimode62:
      return 62.5;
    case CoreKind::kNone:
      return 0.0;
  }
  return 0.0;
}

double FibreTruth::RadiusPx() const {
  return 0.5 * cladding_diameter_um / std::sqrt(cv::determinant(UmFromPx()));
}

cv::Mat Render(const Scene& scene) {
  Dice dice(scene.nuisance.seed);
  Canvas canvas;
  canvas.scene = &scene;
  canvas.um_from_px = scene.truth.UmFromPx();
  canvas.px_from_um = canvas.um_from_px.inv();
  canvas.image.create(scene.size, CV_32F);
  const double um_per_px = scene.truth.um_per_px;
  const cv::Mat fine = SmoothNoise(scene.size, scene.nuisance.grain_um / um_per_px, dice.Raw());
  const cv::Mat wide =
      SmoothNoise(scene.size, 6.0 * scene.nuisance.grain_um / um_per_px, dice.Raw());
  DrawFace(canvas, 0.9 * fine + 0.4 * wide);
  DrawDirt(canvas, dice);
  DrawChips(canvas, dice, static_cast<int>(scene.nuisance.chips));
  HideRim(canvas, dice, scene.nuisance.hidden_fraction);
  Blur(canvas.image, scene.nuisance.blur_um / um_per_px);
  ApplyLight(scene, canvas.image);
  ApplyCamera(scene, dice, canvas.image);
  DrawReticle(scene, dice, canvas.image);
  DrawText(scene, dice, canvas.image);
  cv::Mat grey;
  canvas.image.convertTo(grey, CV_8U);
  return scene.nuisance.jpeg_quality > 0 ? JpegRoundTrip(grey, scene.nuisance.jpeg_quality) : grey;
}

cv::Mat JpegRoundTrip(const cv::Mat& grey, int quality) {
  jpeg_error_mgr errors;
  jpeg_compress_struct out;
  out.err = jpeg_std_error(&errors);
  jpeg_create_compress(&out);
  unsigned char* bytes = nullptr;
  unsigned long count = 0;  // NOLINT: the library's own type
  jpeg_mem_dest(&out, &bytes, &count);
  out.image_width = static_cast<JDIMENSION>(grey.cols);
  out.image_height = static_cast<JDIMENSION>(grey.rows);
  out.input_components = 1;
  out.in_color_space = JCS_GRAYSCALE;
  jpeg_set_defaults(&out);
  jpeg_set_quality(&out, quality, TRUE);
  jpeg_start_compress(&out, TRUE);
  for (int y = 0; y < grey.rows; ++y) {
    JSAMPROW row = const_cast<JSAMPROW>(grey.ptr(y));
    jpeg_write_scanlines(&out, &row, 1);
  }
  jpeg_finish_compress(&out);
  jpeg_destroy_compress(&out);

  jpeg_decompress_struct in;
  in.err = jpeg_std_error(&errors);
  jpeg_create_decompress(&in);
  jpeg_mem_src(&in, bytes, count);
  jpeg_read_header(&in, TRUE);
  jpeg_start_decompress(&in);
  cv::Mat result(grey.size(), CV_8U);
  for (int y = 0; y < grey.rows; ++y) {
    JSAMPROW row = result.ptr(y);
    jpeg_read_scanlines(&in, &row, 1);
  }
  jpeg_finish_decompress(&in);
  jpeg_destroy_decompress(&in);
  std::free(bytes);
  return result;
}

}  // namespace endgrade::testing
