#include "locate/rim_model.h"

#include "core/elementary.h"
#include "core/wide.h"

#include <algorithm>
#include <cmath>

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

// What the light along eight rays is made of.
struct alignas(32) Exposure {
  EightFloats edge, width;                         // of the glass, from the ellipse; of the ring
  EightFloats glass, ferrule;                      // light
  EightFloats glass_by_tone, ferrule_by_tone;      // its derivatives
  EightFloats glass_by_stored, ferrule_by_stored;  // by the stored brightness
  EightFloats glass_slope, ferrule_slope;
  EightFloats ring, rise, fall;                  // the ring's light, and the steps to and from it
  EightFloats depth_on_glass, depth_on_ferrule;  // 0 where the ring does not lie beside it
  Blur blur;                                     // these are the same for all
  float per_tone;
};

// Eight rays' steps at one place.
struct alignas(32) Steps {
  EightFloats value, by_place, by_sigma, by_tail;

  [[nodiscard]] Step At(std::size_t j) const {
    return {value[j], by_place[j], by_sigma[j], by_tail[j]};
  }
};

[[gnu::always_inline]] inline void SetSteps(const EightFloats& outwards,
                                            const Blur& blur,
                                            Steps* steps) {
  for (std::size_t j = 0; j < kSide; ++j) {
    const Step step = StepAt(outwards[j], blur);
    steps->value[j] = step.value;
    steps->by_place[j] = step.by_place;
    steps->by_sigma[j] = step.by_sigma;
    steps->by_tail[j] = step.by_tail;
  }
}

// `lines` are `stride` apart, one a quantity; that of the sharpening gets the values. In short
// loops one after the other: a processor sees far enough to work on several rounds of each at once.
template <bool kRinged>
[[gnu::always_inline]] inline void ExposeColumns(
    const Exposure& e, const float* x, std::size_t columns, std::size_t stride, float* lines) {
  constexpr std::size_t kMost = 8;
  for (std::size_t first = 0; first < columns; first += kMost) {
    const std::size_t some = std::min(kMost, columns - first);
    Steps inner_steps[kMost];
    Steps outer_steps[kMost];
    alignas(32) EightFloats outwards;
    for (std::size_t i = 0; i < some; ++i) {
      for (std::size_t j = 0; j < kSide; ++j) outwards[j] = x[first + i] - e.edge[j];
      SetSteps(outwards, e.blur, &inner_steps[i]);
    }
    for (std::size_t i = 0; kRinged && i < some; ++i) {
      for (std::size_t j = 0; j < kSide; ++j) outwards[j] = x[first + i] - e.edge[j] - e.width[j];
      SetSteps(outwards, e.blur, &outer_steps[i]);
    }
    for (std::size_t i = 0; i < some; ++i) {
      const float at = x[first + i];
      float out[kRayCount][kSide];
      for (std::size_t j = 0; j < kSide; ++j) {
        const Step inner = inner_steps[i].At(j);
        const Step outer = kRinged ? outer_steps[i].At(j) : inner;
        const float light =
            AtLeast(kLeastLight, e.glass[j] + e.rise[j] * inner.value + e.fall[j] * outer.value);
        const float log_share = e.per_tone * LogOf(light);
        const float stored = static_cast<float>(kWhite) * ExpOf(log_share);
        const float by_light = stored * e.per_tone / light;
        const float in_ring = inner.value - outer.value;
        const float by_glass = 1.0F - inner.value + e.depth_on_glass[j] * in_ring;
        const float by_ferrule = outer.value + e.depth_on_ferrule[j] * in_ring;
        const float by_outer = by_light * e.fall[j] * outer.by_place;
        out[kRayEdge][j] = by_light * e.rise[j] * inner.by_place + by_outer;
        out[kRaySigma][j] = by_light * (e.rise[j] * inner.by_sigma + e.fall[j] * outer.by_sigma);
        out[kRayTail][j] = by_light * (e.rise[j] * inner.by_tail + e.fall[j] * outer.by_tail);
        out[kRayTone][j] =
            by_light * (e.glass_by_tone[j] * by_glass + e.ferrule_by_tone[j] * by_ferrule) -
            stored * log_share;
        out[kRayWidth][j] = kRinged ? by_outer : 0.0F;
        out[kRayDepth][j] = kRinged ? by_light * e.ring[j] * in_ring : 0.0F;
        out[kRayGlass][j] = by_light * e.glass_by_stored[j] * by_glass;
        out[kRayFerrule][j] = by_light * e.ferrule_by_stored[j] * by_ferrule;
        out[kRayGlassSlope][j] = at * (1.0F - inner.value);
        out[kRayFerruleSlope][j] = at * outer.value;
        out[kRaySharpen][j] = stored + e.glass_slope[j] * out[kRayGlassSlope][j] +
                              e.ferrule_slope[j] * out[kRayFerruleSlope][j];
      }
      for (std::size_t q = 0; q < kRayCount; ++q) {
        if (q == kRaySharpenRadius) continue;  // of what is sharpened already
        EightAt(lines + q * stride + (first + i) * kSide).value = EightAt(out[q]).value;
      }
    }
  }
}

ENDGRADE_WIDE void ExposePlain(
    const Exposure& e, const float* x, std::size_t columns, std::size_t stride, float* lines) {
  ExposeColumns<false>(e, x, columns, stride, lines);
}

ENDGRADE_WIDE void ExposeRing(
    const Exposure& e, const float* x, std::size_t columns, std::size_t stride, float* lines) {
  ExposeColumns<true>(e, x, columns, stride, lines);
}

// Columns that an unsharp mask of this radius reaches.
int ReachOf(double radius_px, double pitch) {
  return std::max(1, static_cast<int>(std::ceil(2.6 * radius_px / pitch)));
}

// How far a kernel reaches to either side, where that is known when the loops over it are compiled:
// its numbers then stay in registers.
template <std::size_t kReach>
struct Reach {
  explicit Reach(std::size_t) {}
  static constexpr std::size_t value = kReach;
};
struct AnyReach {
  explicit AnyReach(std::size_t reach) : value(reach) {}
  std::size_t value;
};

// The place of eight rays under a symmetric kernel, of which one half is given, the middle first.
template <typename Reach>
[[gnu::always_inline]] inline void Soften(const float* line,
                                          const float* kernel,
                                          Reach reach,
                                          Eight* soft) {
  *soft = kernel[0] * EightAt(line).value;
  for (std::size_t k = 1; k <= reach.value; ++k) {
    *soft += kernel[k] * (EightAt(line - k * kSide).value + EightAt(line + k * kSide).value);
  }
}

// Calls `work` with the reach of a kernel.
template <typename Work>
[[gnu::always_inline]] inline void WithReach(std::size_t reach, const Work& work) {
  switch (reach) {
    case 1:
      return work(Reach<1>(reach));
    case 2:
      return work(Reach<2>(reach));
    case 3:
      return work(Reach<3>(reach));
    case 4:
      return work(Reach<4>(reach));
    case 5:
      return work(Reach<5>(reach));
    case 6:
      return work(Reach<6>(reach));
    case 7:
      return work(Reach<7>(reach));
    case 8:
      return work(Reach<8>(reach));
    default:
      return work(AnyReach(reach));
  }
}

// `line` with `amount` times what it has more than its surroundings; columns of `out` are `stride`
// apart.
ENDGRADE_WIDE void Sharpen(const float* line,
                           const std::vector<float>& kernel,
                           float amount,
                           std::size_t columns,
                           std::size_t stride,
                           float* __restrict out) {
  const float* const half = kernel.data();
  WithReach(
      kernel.size() - 1, [&](auto reach) __attribute__((always_inline)) {
        for (std::size_t i = 0; i < columns; ++i) {
          const float* here = line + i * kSide;
          Eight soft;
          Soften(here, half, reach, &soft);
          const Eight exposed = EightAt(here).value;
          EightAt(out + i * stride).value = exposed + amount * (exposed - soft);
        }
      });
}

// Derivatives of that by the amount and by the logarithm of the kernel's radius. `shares` are the
// squares of the distances in radii, less their mean under the kernel.
ENDGRADE_WIDE void DifferentiateSharpening(const float* line,
                                           const std::vector<float>& kernel,
                                           const std::vector<float>& shares,
                                           float amount,
                                           std::size_t columns,
                                           RimRow* __restrict rows) {
  const float* const half = kernel.data();
  const float* const share = shares.data();
  WithReach(
      kernel.size() - 1, [&](auto reach) __attribute__((always_inline)) {
        for (std::size_t i = 0; i < columns; ++i) {
          const float* here = line + i * kSide;
          Eight soft;
          Soften(here, half, reach, &soft);
          Eight by_radius = share[0] * (half[0] * EightAt(here).value);
          for (std::size_t k = 1; k <= reach.value; ++k) {
            by_radius +=
                share[k] *
                (half[k] * (EightAt(here - k * kSide).value + EightAt(here + k * kSide).value));
          }
          EightAt(rows[i].by[kRaySharpen].data()).value = EightAt(here).value - soft;
          EightAt(rows[i].by[kRaySharpenRadius].data()).value = -amount * by_radius;
        }
      });
}

}  // namespace

const std::array<RayQuantity, kParameterCount> RimPaths::kThrough = {
    kRayEdge,  kRayEdge,       kRayEdge,    kRayEdge,          kRayEdge,  kRaySigma,
    kRayTail,  kRayTone,       kRaySharpen, kRaySharpenRadius, kRayWidth, kRayWidth,
    kRayWidth, kRayDepth,  // the rim's
    kRayGlass, kRayGlassSlope, kRayFerrule, kRayFerruleSlope,  kRayDepth, kRayWidth};

RimModel::RimModel(RingKind kind, const RimData& data)
    : data_(data),
      kind_(kind),
      columns_(data.Columns()),
      paths_((data.sectors.size() + kSide - 1) / kSide),
      values_(columns_ * kSide) {
  for (std::size_t i = 0; i < columns_; ++i) {
    places_.push_back(static_cast<float>(data_.first + data_.pitch * static_cast<double>(i)));
  }
}

void RimModel::MakeRoom(std::size_t reach) {
  if (reach <= room_) return;
  room_ = reach;
  stride_ = (columns_ + 2 * room_) * kSide;
  lines_.assign(paths_.size() * kRayCount * stride_, 0.0F);
}

void RimModel::ExtendEnds(float* line) const {
  float* end = line + columns_ * kSide;
  for (std::size_t i = 1; i < kernel_.size(); ++i) {
    std::copy_n(line, kSide, line - i * kSide);
    std::copy_n(end - kSide, kSide, end + (i - 1) * kSide);
  }
}

void RimModel::SetRim(const RimVector& rim) {
  rim_ = rim;
  sigma_ = std::exp(rim[kLogSigma]);
  tone_ = std::exp(rim[kLogTone]);
  mean_width_ = std::exp(rim[kLogWidth]);
  sharpening_ = static_cast<float>(rim[kSharpen]);
  const double radius_px = std::exp(rim[kLogSharpen]);
  if (radius_px == kernel_radius_px_) return;
  MakeKernel(radius_px);
  MakeRoom(kernel_.size() - 1);
}

const float* RimModel::Evaluate(std::size_t eight, const std::vector<SectorVector>& sectors) {
  Expose(eight, sectors);
  float* plain = Line(eight, kPlain);
  ExtendEnds(plain);
  Sharpen(plain, kernel_, sharpening_, columns_, kSide, values_.data());
  return values_.data();
}

void RimModel::Differentiate(std::size_t eight, RimRow* rows) {
  constexpr std::size_t kStride = sizeof(RimRow) / sizeof(float);
  for (std::size_t q = 0; q < kRayCount; ++q) {
    if (q == kRaySharpen || q == kRaySharpenRadius) continue;
    float* line = Line(eight, q);
    float* out = rows->by[q].data();
    if (sharpening_ > kLeastSharpening) {
      ExtendEnds(line);
      Sharpen(line, kernel_, sharpening_, columns_, kStride, out);
    } else {
      for (std::size_t i = 0; i < columns_; ++i) {
        std::copy_n(line + i * kSide, kSide, out + i * kStride);
      }
    }
  }
  DifferentiateSharpening(Line(eight, kPlain), kernel_, shares_, sharpening_, columns_, rows);
}

void RimModel::Expose(std::size_t eight, const std::vector<SectorVector>& sectors) {
  const auto narrow = static_cast<float>(1.0 / sigma_);
  const auto bend = static_cast<float>(0.5 * sigma_ / data_.radius);
  const auto tail = static_cast<float>(rim_[kTail]);
  constexpr auto wider = static_cast<float>(kWiderSigma);
  const bool ringed = kind_ != RingKind::kNone;
  Exposure e{};
  e.blur = {{narrow, narrow / wider}, {1.0F - tail, tail}, {bend, bend * wider}};
  e.per_tone = static_cast<float>(1.0 / tone_);
  auto& factor = paths_[eight].factor;
  Light glass{};
  Light ferrule{};
  float depth = 1.0F;
  for (std::size_t j = 0; j < kSide; ++j) {
    const bool again = eight * kSide + j >= sectors.size();
    const std::size_t s = again ? sectors.size() - 1 : eight * kSide + j;
    const SectorVector& sector = sectors[s];
    const double cos_t = data_.sectors[s].cos_t;
    const double sin_t = data_.sectors[s].sin_t;
    const double edge = rim_[kSize] + rim_[kShiftX] * cos_t + rim_[kShiftY] * sin_t +
                        rim_[kOvalC] * (cos_t * cos_t - sin_t * sin_t) +
                        rim_[kOvalS] * 2.0 * cos_t * sin_t;
    const double spread =
        std::max(kLeastSpread, 1.0 + rim_[kWidthX] * cos_t + rim_[kWidthY] * sin_t);
    const double turn_width = mean_width_ * spread;
    const double width = turn_width * std::max(0.05, 1.0 + sector[kWidthChange]);
    if (!again) {
      glass = LightOf(sector[kGlass], tone_);
      ferrule = LightOf(sector[kFerrule], tone_);
      depth = static_cast<float>(std::exp(rim_[kLogDepth] + sector[kDepthChange]));
    }
    e.edge[j] = static_cast<float>(edge);
    e.width[j] = static_cast<float>(width);
    e.glass[j] = static_cast<float>(glass.value);
    e.ferrule[j] = static_cast<float>(ferrule.value);
    e.glass_by_tone[j] = static_cast<float>(glass.by_tone);
    e.ferrule_by_tone[j] = static_cast<float>(ferrule.by_tone);
    e.glass_by_stored[j] = static_cast<float>(glass.by_stored);
    e.ferrule_by_stored[j] = static_cast<float>(ferrule.by_stored);
    e.glass_slope[j] = static_cast<float>(sector[kGlassSlope]);
    e.ferrule_slope[j] = static_cast<float>(sector[kFerruleSlope]);
    const bool on_glass = ringed && (e.glass[j] < e.ferrule[j]) == (kind_ == RingKind::kDark);
    e.depth_on_glass[j] = on_glass ? depth : 0.0F;
    e.depth_on_ferrule[j] = ringed && !on_glass ? depth : 0.0F;
    // Without a ring the one step is the outer one, too.
    e.ring[j] = on_glass ? e.glass[j] * depth : e.ferrule[j] * (ringed ? depth : 1.0F);
    e.rise[j] = e.ring[j] - e.glass[j];
    e.fall[j] = e.ferrule[j] - e.ring[j];
    const double by_spread = spread > kLeastSpread ? width / spread : 0.0;
    for (EightDoubles& one : factor) one[j] = 1.0;
    factor[kShiftX][j] = cos_t;
    factor[kShiftY][j] = sin_t;
    factor[kOvalC][j] = cos_t * cos_t - sin_t * sin_t;
    factor[kOvalS][j] = 2.0 * cos_t * sin_t;
    factor[kLogWidth][j] = width;
    factor[kWidthX][j] = by_spread * cos_t;
    factor[kWidthY][j] = by_spread * sin_t;
    factor[std::size_t{kRimCount} + kWidthChange][j] = turn_width;
  }
  (ringed ? ExposeRing : ExposePlain)(e, places_.data(), columns_, stride_, Line(eight, 0));
}

// All sectors of a rim are sharpened alike.
void RimModel::MakeKernel(double radius_px) {
  kernel_radius_px_ = radius_px;
  const int reach = ReachOf(radius_px, data_.pitch);
  kernel_.resize(static_cast<std::size_t>(reach) + 1);
  weights_.resize(kernel_.size());
  shares_.resize(kernel_.size());
  double sum = 0.0;
  double square = 0.0;
  for (int i = 0; i <= reach; ++i) {
    const double z = i * data_.pitch / radius_px;
    const double weight = std::exp(-0.5 * z * z);
    weights_[static_cast<std::size_t>(i)] = weight;
    sum += (i == 0 ? 1.0 : 2.0) * weight;
    square += (i == 0 ? 1.0 : 2.0) * weight * z * z;
  }
  const auto mean_square = static_cast<float>(square / sum);
  const auto per_radius = static_cast<float>(data_.pitch / radius_px);
  for (int i = 0; i <= reach; ++i) {
    const auto at = static_cast<std::size_t>(i);
    kernel_[at] = static_cast<float>(weights_[at] / sum);
    const float z = static_cast<float>(i) * per_radius;
    shares_[at] = z * z - mean_square;
  }
}

}  // namespace endgrade::locate
