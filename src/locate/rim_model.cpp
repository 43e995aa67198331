#include "locate/rim_model.h"

#include "core/elementary.h"
#include "core/wide.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::locate {
namespace {

constexpr double kWhite = 255.0;
constexpr float kLeastSharpening = 1e-3F;
constexpr float kLeastLight = 1e-4F;
constexpr double kLeastSpread = 0.02;  // of a ring's width over its mean

// A blurred step and its derivatives by place, log sigma and tail.
struct Step {
  float value, by_place, by_sigma, by_tail;
};

struct Blur {
  float per_sigma[2];
  float share[2];
  float bend[2];  // a disc's half-height lies inside its edge by sigma^2 / 2r, over sigma
};

inline Step StepAt(float outwards, const Blur& blur) {
  const float z0 = outwards * blur.per_sigma[0] + blur.bend[0];
  const float z1 = outwards * blur.per_sigma[1] + blur.bend[1];
  const NormalAt a = NormalOf(z0);
  const NormalAt b = NormalOf(z1);
  const float weigh_a = blur.share[0] * a.density;
  const float weigh_b = blur.share[1] * b.density;
  return {blur.share[0] * a.below + blur.share[1] * b.below,
          -weigh_a * blur.per_sigma[0] - weigh_b * blur.per_sigma[1],
          weigh_a * (2.0F * blur.bend[0] - z0) + weigh_b * (2.0F * blur.bend[1] - z1),
          b.below - a.below};
}

struct Light {
  double value, by_stored, by_tone;
};

Light LightOf(double stored, double tone) {
  const double share = std::max(stored / kWhite, 1e-3);
  const double light = std::pow(share, tone);
  const bool dark = stored / kWhite < 1e-3;
  return {light, dark ? 0.0 : tone * light / share / kWhite, light * std::log(share) * tone};
}

constexpr std::size_t kBlock = 16;  // columns that are worked on at once

// What one ray's light is made of.
struct Exposure {
  Blur blur;
  float edge, width;                         // of the glass, from the ellipse, and of the ring
  float glass, ferrule;                      // light
  float glass_by_tone, ferrule_by_tone;      // its derivatives
  float glass_by_stored, ferrule_by_stored;  // by the stored brightness
  float glass_slope, ferrule_slope;
  float ring, rise, fall;                  // the ring's light, and the steps to and from it
  float depth_on_glass, depth_on_ferrule;  // 0 where the ring does not lie beside it
  float per_tone;
};

// Places kBlock at a time. `lines`: kLines of them, `stride` apart.
template <bool kRinged, std::size_t kLines>
[[gnu::always_inline]] inline void ExposeBlocks(
    const Exposure& e, const float* x, std::size_t count, std::size_t stride, float* lines) {
  for (std::size_t from = 0; from < count; from += kBlock) {
    float out[kLines][kBlock];
    for (std::size_t j = 0; j < kBlock; ++j) {
      const float at = x[from + j];
      const Step inner = StepAt(at - e.edge, e.blur);
      const Step outer = kRinged ? StepAt(at - e.edge - e.width, e.blur) : inner;
      const float light =
          AtLeast(kLeastLight, e.glass + e.rise * inner.value + e.fall * outer.value);
      const float log_share = e.per_tone * LogOf(light);
      const float stored = static_cast<float>(kWhite) * ExpOf(log_share);
      const float by_light = stored * e.per_tone / light;
      const float in_ring = inner.value - outer.value;
      const float by_glass = 1.0F - inner.value + e.depth_on_glass * in_ring;
      const float by_ferrule = outer.value + e.depth_on_ferrule * in_ring;
      const float by_outer = by_light * e.fall * outer.by_place;
      out[kRayEdge][j] = by_light * e.rise * inner.by_place + by_outer;
      out[kRaySigma][j] = by_light * (e.rise * inner.by_sigma + e.fall * outer.by_sigma);
      out[kRayTail][j] = by_light * (e.rise * inner.by_tail + e.fall * outer.by_tail);
      out[kRayTone][j] = by_light * (e.glass_by_tone * by_glass + e.ferrule_by_tone * by_ferrule) -
                         stored * log_share;
      out[kRayWidth][j] = kRinged ? by_outer : 0.0F;
      out[kRayDepth][j] = kRinged ? by_light * e.ring * in_ring : 0.0F;
      out[kRayGlass][j] = by_light * e.glass_by_stored * by_glass;
      out[kRayFerrule][j] = by_light * e.ferrule_by_stored * by_ferrule;
      out[kRayGlassSlope][j] = at * (1.0F - inner.value);
      out[kRayFerruleSlope][j] = at * outer.value;
      out[kRaySharpen][j] = stored + e.glass_slope * out[kRayGlassSlope][j] +
                            e.ferrule_slope * out[kRayFerruleSlope][j];
    }
    for (std::size_t q = 0; q < kLines; ++q) std::copy_n(out[q], kBlock, lines + q * stride + from);
  }
}

ENDGRADE_WIDE void ExposePlain(
    const Exposure& e, const float* x, std::size_t count, std::size_t stride, float* lines) {
  ExposeBlocks<false, kRaySharpen + 1>(e, x, count, stride, lines);
}

ENDGRADE_WIDE void ExposeRing(
    const Exposure& e, const float* x, std::size_t count, std::size_t stride, float* lines) {
  ExposeBlocks<true, kRaySharpen + 1>(e, x, count, stride, lines);
}

// Columns that an unsharp mask of this radius reaches.
int ReachOf(double radius_px, double pitch) {
  return std::max(1, static_cast<int>(std::ceil(2.6 * radius_px / pitch)));
}

// `line` under a symmetric kernel of which one half, the middle first, is given.
ENDGRADE_WIDE void Soften(const float* line,
                          const float* kernel,
                          std::size_t kernel_size,
                          std::size_t count,
                          float* soft) {
  for (std::size_t from = 0; from < count; from += kBlock) {
    const float* here = line + from;
    Eight low = kernel[0] * EightAt(here).value;
    Eight high = kernel[0] * EightAt(here + 8).value;
    for (std::size_t k = 1; k < kernel_size; ++k) {
      low += kernel[k] * (EightAt(here - k).value + EightAt(here + k).value);
      high += kernel[k] * (EightAt(here + 8 - k).value + EightAt(here + 8 + k).value);
    }
    EightAt(soft + from).value = low;
    EightAt(soft + from + 8).value = high;
  }
}

// The same for the kernel's derivative by the logarithm of its radius: `shares` are the squares of
// the distances in radii, less their mean under the kernel.
ENDGRADE_WIDE void SoftenByRadius(const float* line,
                                  const float* kernel,
                                  const float* shares,
                                  std::size_t kernel_size,
                                  std::size_t count,
                                  float* by_radius) {
  for (std::size_t from = 0; from < count; from += kBlock) {
    const float* here = line + from;
    Eight low = shares[0] * (kernel[0] * EightAt(here).value);
    Eight high = shares[0] * (kernel[0] * EightAt(here + 8).value);
    for (std::size_t k = 1; k < kernel_size; ++k) {
      low += shares[k] * (kernel[k] * (EightAt(here - k).value + EightAt(here + k).value));
      high += shares[k] * (kernel[k] * (EightAt(here + 8 - k).value + EightAt(here + 8 + k).value));
    }
    EightAt(by_radius + from).value = low;
    EightAt(by_radius + from + 8).value = high;
  }
}

}  // namespace

SectorModel::SectorModel(RingKind kind, const RimData& data)
    : kind_(kind),
      radius_(data.radius),
      first_(data.first),
      pitch_(data.pitch),
      columns_(data.Columns()),
      values_(columns_),
      rows_(columns_) {
  MakeRoom(kBlock);
  places_.assign(soft_.size() / kLines, 0.0F);
  for (std::size_t i = 0; i < columns_; ++i) {
    places_[i] = static_cast<float>(first_ + pitch_ * static_cast<double>(i));
  }
}

// Whole blocks are worked on: there is room for the last one, too.
void SectorModel::MakeRoom(std::size_t reach) {
  if (reach <= room_) return;
  room_ = (reach + kBlock - 1) / kBlock * kBlock;
  const std::size_t whole = (columns_ + kBlock - 1) / kBlock * kBlock;
  stride_ = whole + 2 * room_;
  lines_.assign(kLines * stride_, 0.0F);
  soft_.assign(kLines * whole, 0.0F);
  by_radius_.assign(whole, 0.0F);
}

void SectorModel::ExtendEnds(std::size_t reach) {
  for (std::size_t q = 0; q < kLines; ++q) {
    float* line = Line(q);
    std::fill(line - reach, line, line[0]);
    std::fill(line + columns_, line + columns_ + reach, line[columns_ - 1]);
  }
}

void SectorModel::Evaluate(const RimVector& rim,
                           const SectorVector& sector,
                           double cos_t,
                           double sin_t) {
  cos_t_ = cos_t;
  sin_t_ = sin_t;
  edge_ = rim[kSize] + rim[kShiftX] * cos_t + rim[kShiftY] * sin_t +
          rim[kOvalC] * (cos_t * cos_t - sin_t * sin_t) + rim[kOvalS] * 2.0 * cos_t * sin_t;
  spread_ = std::max(kLeastSpread, 1.0 + rim[kWidthX] * cos_t + rim[kWidthY] * sin_t);
  turn_width_ = std::exp(rim[kLogWidth]) * spread_;
  width_ = turn_width_ * std::max(0.05, 1.0 + sector[kWidthChange]);
  const double sharpening_px = std::exp(rim[kLogSharpen]);
  MakeRoom(static_cast<std::size_t>(ReachOf(sharpening_px, pitch_)));
  Expose(rim, sector);
  Sharpen(static_cast<float>(rim[kSharpen]), sharpening_px);
}

SectorModel::Paths SectorModel::ByParameters() const {
  const double by_spread = spread_ > kLeastSpread ? width_ / spread_ : 0.0;
  Paths paths{};
  paths[kSize] = {kRayEdge, 1.0};
  paths[kShiftX] = {kRayEdge, cos_t_};
  paths[kShiftY] = {kRayEdge, sin_t_};
  paths[kOvalC] = {kRayEdge, cos_t_ * cos_t_ - sin_t_ * sin_t_};
  paths[kOvalS] = {kRayEdge, 2.0 * cos_t_ * sin_t_};
  paths[kLogSigma] = {kRaySigma, 1.0};
  paths[kTail] = {kRayTail, 1.0};
  paths[kLogTone] = {kRayTone, 1.0};
  paths[kSharpen] = {kRaySharpen, 1.0};
  paths[kLogSharpen] = {kRaySharpenRadius, 1.0};
  paths[kLogWidth] = {kRayWidth, width_};
  paths[kWidthX] = {kRayWidth, by_spread * cos_t_};
  paths[kWidthY] = {kRayWidth, by_spread * sin_t_};
  paths[kLogDepth] = {kRayDepth, 1.0};
  constexpr std::size_t own = kRimCount;
  paths[own + kGlass] = {kRayGlass, 1.0};
  paths[own + kGlassSlope] = {kRayGlassSlope, 1.0};
  paths[own + kFerrule] = {kRayFerrule, 1.0};
  paths[own + kFerruleSlope] = {kRayFerruleSlope, 1.0};
  paths[own + kDepthChange] = {kRayDepth, 1.0};
  paths[own + kWidthChange] = {kRayWidth, turn_width_};
  return paths;
}

void SectorModel::Expose(const RimVector& rim, const SectorVector& sector) {
  const double tone_exponent = std::exp(rim[kLogTone]);
  const double sigma = std::exp(rim[kLogSigma]);
  const auto narrow = static_cast<float>(1.0 / sigma);
  const auto bend = static_cast<float>(0.5 * sigma / radius_);
  const auto tail = static_cast<float>(rim[kTail]);
  constexpr auto wider = static_cast<float>(kWiderSigma);
  const Light glass = LightOf(sector[kGlass], tone_exponent);
  const Light ferrule = LightOf(sector[kFerrule], tone_exponent);
  const bool ringed = kind_ != RingKind::kNone;
  const auto depth = static_cast<float>(std::exp(rim[kLogDepth] + sector[kDepthChange]));
  Exposure e{};
  e.blur = {{narrow, narrow / wider}, {1.0F - tail, tail}, {bend, bend * wider}};
  e.edge = static_cast<float>(edge_);
  e.width = static_cast<float>(width_);
  e.glass = static_cast<float>(glass.value);
  e.ferrule = static_cast<float>(ferrule.value);
  e.glass_by_tone = static_cast<float>(glass.by_tone);
  e.ferrule_by_tone = static_cast<float>(ferrule.by_tone);
  e.glass_by_stored = static_cast<float>(glass.by_stored);
  e.ferrule_by_stored = static_cast<float>(ferrule.by_stored);
  e.glass_slope = static_cast<float>(sector[kGlassSlope]);
  e.ferrule_slope = static_cast<float>(sector[kFerruleSlope]);
  e.per_tone = static_cast<float>(1.0 / tone_exponent);
  const bool on_glass = ringed && (e.glass < e.ferrule) == (kind_ == RingKind::kDark);
  e.depth_on_glass = on_glass ? depth : 0.0F;
  e.depth_on_ferrule = ringed && !on_glass ? depth : 0.0F;
  // Without a ring the one step is the outer one, too.
  e.ring = on_glass ? e.glass * depth : e.ferrule * (ringed ? depth : 1.0F);
  e.rise = e.ring - e.glass;
  e.fall = e.ferrule - e.ring;
  (ringed ? ExposeRing : ExposePlain)(e, places_.data(), columns_, stride_, Line(0));
}

// All sectors of a rim are sharpened alike.
void SectorModel::MakeKernel(double radius_px) {
  kernel_radius_px_ = radius_px;
  const int reach = ReachOf(radius_px, pitch_);
  kernel_.resize(static_cast<std::size_t>(reach) + 1);
  weights_.resize(kernel_.size());
  shares_.resize(kernel_.size());
  double sum = 0.0;
  double square = 0.0;
  for (int i = 0; i <= reach; ++i) {
    const double z = i * pitch_ / radius_px;
    const double weight = std::exp(-0.5 * z * z);
    weights_[static_cast<std::size_t>(i)] = weight;
    sum += (i == 0 ? 1.0 : 2.0) * weight;
    square += (i == 0 ? 1.0 : 2.0) * weight * z * z;
  }
  const auto mean_square = static_cast<float>(square / sum);
  const auto per_radius = static_cast<float>(pitch_ / radius_px);
  for (int i = 0; i <= reach; ++i) {
    const auto at = static_cast<std::size_t>(i);
    kernel_[at] = static_cast<float>(weights_[at] / sum);
    const float z = static_cast<float>(i) * per_radius;
    shares_[at] = z * z - mean_square;
  }
}

void SectorModel::Sharpen(float amount, double radius_px) {
  if (radius_px != kernel_radius_px_) MakeKernel(radius_px);
  const std::size_t reach = kernel_.size() - 1;
  ExtendEnds(reach);
  const bool sharpened = amount > kLeastSharpening;
  const std::size_t whole = by_radius_.size();
  for (std::size_t q = sharpened ? 0 : kPlain; q < kLines; ++q) {
    Soften(Line(q), kernel_.data(), kernel_.size(), columns_, soft_.data() + q * whole);
  }
  SoftenByRadius(
      Line(kPlain), kernel_.data(), shares_.data(), kernel_.size(), columns_, by_radius_.data());
  const float* plain = Line(kPlain);
  const float* soft = soft_.data() + kPlain * whole;
  for (std::size_t i = 0; i < columns_; ++i) {
    values_[i] = plain[i] + amount * (plain[i] - soft[i]);
    rows_[i].by[kRaySharpen] = plain[i] - soft[i];
    rows_[i].by[kRaySharpenRadius] = -amount * by_radius_[i];
  }
  for (std::size_t q = 0; q < kPlain; ++q) {
    const float* exposed = Line(q);
    const float* mean = soft_.data() + q * whole;
    for (std::size_t i = 0; i < columns_; ++i) {
      rows_[i].by[q] = sharpened ? exposed[i] + amount * (exposed[i] - mean[i]) : exposed[i];
    }
  }
}

}  // namespace endgrade::locate
