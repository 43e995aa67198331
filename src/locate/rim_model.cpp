#include "locate/rim_model.h"

#include "core/wide.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace endgrade::locate {
namespace {

constexpr double kWhite = 255.0;
constexpr double kWider = 2.8;  // sigma of the wider Gaussian over that of the narrower
constexpr float kLeastSharpening = 1e-3F;
constexpr float kLeastLight = 1e-4F;
constexpr double kLeastSpread = 0.02;  // of a ring's width over its mean

struct Bell {
  float below, height;  // normal distribution function and density
};

// From a table: a fit needs them a hundred thousand times.
class NormalTable {
 public:
  NormalTable() {
    for (std::size_t i = 0; i < bells_.size(); ++i) {
      const double z = (static_cast<double>(i) - kHalf) / kPerUnit;
      bells_[i] = {static_cast<float>(0.5 * std::erfc(-z / std::numbers::sqrt2)),
                   static_cast<float>(std::exp(-0.5 * z * z) / std::sqrt(2.0 * std::numbers::pi))};
    }
  }
  [[nodiscard]] Bell At(float z) const {
    const float place = z * kPerUnit + kHalf;
    if (!(place > 0.0F)) return {0.0F, 0.0F};
    if (place >= 2.0F * kHalf) return {1.0F, 0.0F};
    const auto i = static_cast<std::size_t>(place);
    const float share = place - static_cast<float>(i);
    const Bell& a = bells_[i];
    const Bell& b = bells_[i + 1];
    return {a.below + share * (b.below - a.below), a.height + share * (b.height - a.height)};
  }

 private:
  static constexpr float kPerUnit = 128.0F;
  static constexpr float kHalf = 6.0F * kPerUnit;
  std::array<Bell, 2 * static_cast<std::size_t>(kHalf) + 2> bells_{};
};

const NormalTable& Table() {
  static const NormalTable table;
  return table;
}

// A blurred step and its derivatives by place, log sigma and tail.
struct Step {
  float value, by_place, by_sigma, by_tail;
};

struct Blur {
  float per_sigma[2];
  float share[2];
  float bend[2];  // a disc's half-height lies inside its edge by sigma^2 / 2r, over sigma
};

inline Step StepAt(const NormalTable& table, float outwards, const Blur& blur) {
  const float z0 = outwards * blur.per_sigma[0] + blur.bend[0];
  const float z1 = outwards * blur.per_sigma[1] + blur.bend[1];
  const Bell a = table.At(z0);
  const Bell b = table.At(z1);
  const float weigh_a = blur.share[0] * a.height;
  const float weigh_b = blur.share[1] * b.height;
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
    Eight low = kernel[0] * EightAt(here);
    Eight high = kernel[0] * EightAt(here + 8);
    for (std::size_t k = 1; k < kernel_size; ++k) {
      low += kernel[k] * (EightAt(here - k) + EightAt(here + k));
      high += kernel[k] * (EightAt(here + 8 - k) + EightAt(here + 8 + k));
    }
    EightAt(soft + from) = low;
    EightAt(soft + from + 8) = high;
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
    Eight low = shares[0] * (kernel[0] * EightAt(here));
    Eight high = shares[0] * (kernel[0] * EightAt(here + 8));
    for (std::size_t k = 1; k < kernel_size; ++k) {
      low += shares[k] * (kernel[k] * (EightAt(here - k) + EightAt(here + k)));
      high += shares[k] * (kernel[k] * (EightAt(here + 8 - k) + EightAt(here + 8 + k)));
    }
    EightAt(by_radius + from) = low;
    EightAt(by_radius + from + 8) = high;
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
  const auto per_tone = static_cast<float>(1.0 / tone_exponent);
  const double sigma = std::exp(rim[kLogSigma]);
  const auto narrow = static_cast<float>(1.0 / sigma);
  const auto bend = static_cast<float>(0.5 * sigma / radius_);
  const auto tail = static_cast<float>(rim[kTail]);
  constexpr auto wider = static_cast<float>(kWider);
  const Blur blur{{narrow, narrow / wider}, {1.0F - tail, tail}, {bend, bend * wider}};
  const Light glass_light = LightOf(sector[kGlass], tone_exponent);
  const Light ferrule_light = LightOf(sector[kFerrule], tone_exponent);
  const auto glass = static_cast<float>(glass_light.value);
  const auto ferrule = static_cast<float>(ferrule_light.value);
  const auto glass_by_tone = static_cast<float>(glass_light.by_tone);
  const auto ferrule_by_tone = static_cast<float>(ferrule_light.by_tone);
  const auto glass_by_stored = static_cast<float>(glass_light.by_stored);
  const auto ferrule_by_stored = static_cast<float>(ferrule_light.by_stored);
  const auto glass_slope = static_cast<float>(sector[kGlassSlope]);
  const auto ferrule_slope = static_cast<float>(sector[kFerruleSlope]);
  const bool ringed = kind_ != RingKind::kNone;
  const bool on_glass = ringed && (glass < ferrule) == (kind_ == RingKind::kDark);
  const bool on_ferrule = ringed && !on_glass;
  const auto depth = static_cast<float>(std::exp(rim[kLogDepth] + sector[kDepthChange]));
  // Without a ring the one step is the outer one, too.
  const float ring = on_glass ? glass * depth : ferrule * (ringed ? depth : 1.0F);
  const float rise = ring - glass;
  const float fall = ferrule - ring;
  const NormalTable& table = Table();
  const auto edge = static_cast<float>(edge_);
  const auto width = static_cast<float>(width_);
  std::array<float*, kLines> lines;
  for (std::size_t q = 0; q < kLines; ++q) lines[q] = Line(q);
  for (std::size_t i = 0; i < columns_; ++i) {
    const auto x = static_cast<float>(first_ + pitch_ * static_cast<double>(i));
    const Step inner = StepAt(table, x - edge, blur);
    const Step outer = ringed ? StepAt(table, x - edge - width, blur) : inner;
    const float light = std::max(kLeastLight, glass + rise * inner.value + fall * outer.value);
    const float log_share = per_tone * std::log(light);
    const float stored = static_cast<float>(kWhite) * std::exp(log_share);
    const float by_light = stored * per_tone / light;
    const float in_ring = inner.value - outer.value;
    const float by_glass = 1.0F - inner.value + (on_glass ? depth * in_ring : 0.0F);
    const float by_ferrule = outer.value + (on_ferrule ? depth * in_ring : 0.0F);
    const float by_outer = by_light * fall * outer.by_place;
    lines[kRayEdge][i] = by_light * rise * inner.by_place + by_outer;
    lines[kRaySigma][i] = by_light * (rise * inner.by_sigma + fall * outer.by_sigma);
    lines[kRayTail][i] = by_light * (rise * inner.by_tail + fall * outer.by_tail);
    lines[kRayTone][i] =
        by_light * (glass_by_tone * by_glass + ferrule_by_tone * by_ferrule) - stored * log_share;
    lines[kRayWidth][i] = ringed ? by_outer : 0.0F;
    lines[kRayDepth][i] = ringed ? by_light * ring * in_ring : 0.0F;
    lines[kRayGlass][i] = by_light * glass_by_stored * by_glass;
    lines[kRayFerrule][i] = by_light * ferrule_by_stored * by_ferrule;
    const float on_glass_x = x * (1.0F - inner.value);
    const float on_ferrule_x = x * outer.value;
    lines[kRayGlassSlope][i] = on_glass_x;
    lines[kRayFerruleSlope][i] = on_ferrule_x;
    lines[kPlain][i] = stored + glass_slope * on_glass_x + ferrule_slope * on_ferrule_x;
  }
}

void SectorModel::Sharpen(float amount, double radius_px) {
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
  ExtendEnds(static_cast<std::size_t>(reach));
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
