#include "flatten/clean_face.h"

#include "flatten/core_edge.h"
#include "flatten/edge_shape.h"
#include "flatten/glow.h"
#include "flatten/lay_light.h"
#include "flatten/light.h"
#include "flatten/polar_samples.h"
#include "flatten/ramp.h"
#include "flatten/ring_table.h"
#include "flatten/robust_fit.h"
#include "flatten/uneven_rim.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace endgrade {
namespace {

// The located core's edge is off by no more than this, or it is not the edge that is off.
constexpr double kMostOffsetUm = 0.35;
constexpr double kMostOffsetNarrowUm = 0.6;  // a bell has no edge to locate it by
constexpr double kMostOffsetCells = 0.8;
constexpr double kLeastAskewUm = 0.03;
constexpr double kBlurThatHidesCore = 1.2;  // um
constexpr double kBurntOut = 0.99;          // of the white level

// Core sizes of the fibres that the standard speaks of, with room for blur: 8 to 10 um single-mode,
// 50 and 62.5 um multimode. Anything else round near the centre is not taken for a core. A lit core
// is round at its shoulders: what blurs it moves the place of its half height inwards.
bool PlausibleCore(double radius_um, cv::Point2d centre_um, double blur_um) {
  const double inwards = blur_um > kBlurThatHidesCore ? blur_um : 0.0;
  const bool single = radius_um > 1.8 && radius_um < 7.5;
  const bool multi = radius_um > 21.9 - inwards && radius_um < 34.0;
  return (single || multi) && std::hypot(centre_um.x, centre_um.y) < 4.0;
}

// Brightness inside the core: an even polynomial in the distance from the core's own centre.
class CoreProfile {
 public:
  CoreProfile() = default;

  // `lit`: brighter than the glass. A lit single-mode core is a bell, highest in the middle, a dark
  // one a bowl; what bends the other way at the very centre is a pit or a speck, not the core.
  // `burnt_out`: brightness at which the camera has no more to give; says nothing about the shape.
  CoreProfile(const PolarSamples& samples, double to_um, bool lit, float burnt_out) {
    columns_ = to_um > 12.0 ? kMostColumns : to_um > 0.8 ? 2 : 1;
    if (!Fit(samples, to_um, burnt_out)) Fit(samples, to_um, kNothing);
    if (columns_ == 2 && (lit ? coefficients_[1] > 0 : coefficients_[1] < 0)) {
      columns_ = 1;
      Fit(samples, to_um, kNothing);
    }
  }
  [[nodiscard]] double At(double radius_um) const {
    const double r2 = 4.0 * radius_um * radius_um / (kUnitUm * kUnitUm);
    double sum = 0.0;
    for (int c = columns_; c-- > 0;) sum = sum * r2 + coefficients_[static_cast<size_t>(c)];
    return sum;
  }

 private:
  // Whether enough is left to fit to.
  bool Fit(const PolarSamples& samples, double to_um, float burnt_out) {
    std::vector<double> rows;
    std::vector<double> values;
    std::vector<double> weights;
    for (int i = 0; i < samples.num_radii && samples.Radius(i) <= to_um; ++i) {
      const double r2 = std::pow(samples.Radius(i) / kUnitUm, 2);
      std::array<double, kMostColumns> row{};
      const auto row_end = row.begin() + columns_;
      for (int c = 0; c < columns_; ++c) row[static_cast<size_t>(c)] = std::pow(r2 * 4.0, c);
      for (int d = 0; d < samples.num_directions; d += 4) {
        const float value = samples.At(i, d);
        if (std::isnan(value) || value >= burnt_out) continue;
        rows.insert(rows.end(), row.begin(), row_end);
        values.push_back(static_cast<double>(value));
        weights.push_back(samples.Radius(i) + 0.25 * samples.circles.step_um);
      }
    }
    if (burnt_out < kNothing && values.size() < kLeastSamples) return false;
    coefficients_ = FitRobust(rows, values, weights, columns_, kLeastSigma);
    return true;
  }

  static constexpr int kMostColumns = 4;
  static constexpr float kNothing = 1e9F;  // is burnt out
  static constexpr size_t kLeastSamples = 256;

  int columns_ = 0;
  std::vector<double> coefficients_;
};

// By how much a camera's sharpening may lift the inside of a core's edge over the rest of the core:
// as far as it presses down the glass beside it, and half as much again.
double Overshoot(bool lit, double radius_um, double far_um, const RingTable& rings) {
  constexpr double kMostOfStep = 0.25;
  const double sign = lit ? 1.0 : -1.0;
  const double far = rings.At(far_um);
  double least = far;
  double most = far;
  for (size_t i = 0; i < rings.values.size(); ++i) {
    const double at = rings.from_um + rings.step_um * static_cast<double>(i);
    if (at > far_um) break;
    const double value = rings.values[i];
    if (at > radius_um && sign * value < sign * least) least = value;
    if (at <= radius_um && sign * value > sign * most) most = value;
  }
  return std::min(1.5 * std::abs(least - far), kMostOfStep * std::abs(most - far));
}

// Makes the rings of a single-mode core rise (lit) or fall all the way to the middle, but for
// `overshoot`, so that a pit right on the centre is not taken for the core's own shape.
void MakeMonotone(bool lit, double radius_um, double overshoot, RingTable* rings) {
  const double last = (radius_um - rings->from_um) / rings->step_um;
  const auto from = std::min(static_cast<size_t>(std::max(0.0, last)), rings->values.size() - 1);
  const double sign = lit ? 1.0 : -1.0;
  double outer = sign * rings->values[from];
  for (size_t i = from; i-- > 0;) {
    const double value = std::max(sign * rings->values[i], outer - overshoot);
    outer = std::max(outer, value);
    rings->values[i] = sign * value;
  }
}

// The places of the samples on one circle.
struct CirclePlaces {
  std::vector<double> x_um, y_um;

  CirclePlaces(const PolarSamples& samples, int radius)
      : x_um(static_cast<size_t>(samples.num_directions)), y_um(x_um.size()) {
    for (size_t d = 0; d < x_um.size(); ++d) {
      const cv::Point2d um = samples.PlaceUm(radius, static_cast<int>(d));
      x_um[d] = um.x;
      y_um[d] = um.y;
    }
  }
};

// What is uneven of the light at each sample, in the samples' order.
std::vector<double> UnevenAtSamples(const PolarSamples& samples, const Light& light) {
  std::vector<double> values(samples.values.size());
  for (int i = 0; i < samples.num_radii; ++i) {
    const CirclePlaces places(samples, i);
    light.UnevenAtEach(places.x_um, places.y_um, values.data() + samples.IndexOf(i, 0));
  }
  return values;
}

// The same about the rim, across which the light of the glass passes into that of the ferrule.
std::vector<double> UnevenAboutRim(const PolarSamples& samples,
                                   double rim_um,
                                   const Light& glass,
                                   const Light& ferrule) {
  constexpr double kAcrossUm = 1.0;  // to either side
  constexpr double kRounded = 1e-6;  // a place may be so much nearer than its circle
  std::vector<double> values(samples.values.size());
  std::vector<double> beyond(static_cast<size_t>(samples.num_directions));
  for (int i = 0; i < samples.num_radii; ++i) {
    const CirclePlaces places(samples, i);
    double* here = values.data() + samples.IndexOf(i, 0);
    const double past = samples.Radius(i) - rim_um;
    if (past > kAcrossUm + kRounded) {
      ferrule.UnevenAtEach(places.x_um, places.y_um, here);
      continue;
    }
    glass.UnevenAtEach(places.x_um, places.y_um, here);
    if (past < -kAcrossUm - kRounded) continue;
    ferrule.UnevenAtEach(places.x_um, places.y_um, beyond.data());
    for (size_t d = 0; d < beyond.size(); ++d) {
      const cv::Point2d um(places.x_um[d], places.y_um[d]);
      const double out = Ramp(std::sqrt(um.dot(um)), rim_um - kAcrossUm, rim_um + kAcrossUm);
      if (out >= 1.0) here[d] = beyond[d];
      if (out > 0.0 && out < 1.0) here[d] = (1.0 - out) * here[d] + out * beyond[d];
    }
  }
  return values;
}

// The core: its own profile inside, a free-form ring about its edge, the glass outside.
class Core {
 public:
  Core(const ContrastMap& map, const Scale& scale, const FaceRings& rings, const Light& glass)
      : rings_(rings), glass_(glass) {
    burnt_out_ = kBurntOut * map.white_level;
    Fit(map, scale);
    // The light of a single-mode core is a bell or a bowl: where it is askew, all of it is.
    const bool narrow = rings.core_radius_um < kLargestSingleModeUm;
    const cv::Point2d askew(shape_.along_x, shape_.along_y);
    if (narrow && std::hypot(askew.x, askew.y) > kLeastAskewUm) {
      rings_.core_centre_um += askew;
      Fit(map, scale);
    }
    if (map.blur_sigma_cells >= kSharpBlurCells) return;
    edge_ = EdgeByCells(map, scale, rings_, glass, shape_, edge_);
    if (narrow) MakeMonotone(lit_, rings.core_radius_um, overshoot_, &edge_);
  }

  // `glass_here`: what the glass alone would show at this place.
  [[nodiscard]] double At(cv::Point2d um, double glass_here) const {
    const cv::Point2d from_centre = um - rings_.core_centre_um;
    const double radius = std::sqrt(from_centre.dot(from_centre));
    const double outside = Ramp(radius, rings_.core_to_um - 1.0, rings_.core_to_um);
    if (outside >= 1.0) return glass_here;
    const double uneven = glass_.Uneven(um);
    const double ring = edge_.At(radius) + uneven;
    const double inside = ring < burnt_out_ ? profile_.At(radius) + uneven : ring;
    const double off = radius > 0 ? shape_.At(from_centre * (1.0 / radius)) : 0.0;
    const double edge = edge_.At(radius - off) + uneven;
    const double toward_edge = Ramp(radius, 0.7 * rings_.core_from_um, rings_.core_from_um);
    const double core = inside + toward_edge * (edge - inside);
    return core + outside * (glass_here - core);
  }

 private:
  // Profile, edge and shape about the centre as it stands.
  void Fit(const ContrastMap& map, const Scale& scale) {
    const PolarSamples samples =
        ReadCircles(map,
                    scale,
                    rings_.core_centre_um,
                    {0.0, rings_.core_to_um + 1.0, 0.5 * map.um_per_cell, 256});
    const auto uneven = [&](cv::Point2d um) { return glass_.Uneven(um); };
    edge_ = MedianOfCircles(samples, UnevenAtSamples(samples, glass_));
    lit_ = edge_.At(rings_.core_from_um) > edge_.At(rings_.core_to_um);
    overshoot_ = Overshoot(lit_, rings_.core_radius_um, rings_.core_to_um, edge_);
    if (rings_.core_radius_um < kLargestSingleModeUm) {
      MakeMonotone(lit_, rings_.core_radius_um, overshoot_, &edge_);
    }
    profile_ = CoreProfile(samples, rings_.core_from_um, lit_, static_cast<float>(burnt_out_));
    const double most_off_um =
        rings_.core_radius_um < kLargestSingleModeUm ? kMostOffsetNarrowUm : kMostOffsetUm;
    shape_ = FitEdgeShape({samples,
                           [&](double radius) { return edge_.At(radius); },
                           uneven,
                           rings_.core_from_um,
                           rings_.core_to_um,
                           std::max(most_off_um, kMostOffsetCells * map.um_per_cell)});
  }

  FaceRings rings_;
  const Light& glass_;
  bool lit_ = false;
  double overshoot_ = 0;
  RingTable edge_;
  CoreProfile profile_;
  double burnt_out_ = 0;
  EdgeShape shape_;
};

// A lit graded-index core falls off over its whole radius, to nothing where the core ends: the
// steepest place is well within. How far its light goes on, um; 0 when it is not lit.
double SkirtsEnd(const ContrastMap& map, const Scale& scale, cv::Point2d centre_um) {
  constexpr double kLit = 0.1;           // of the glass's brightness
  constexpr double kLeastLight = 0.03;   // of the core's height
  constexpr double kLargestUm = 34.5;    // of a core's radius, with its blur
  constexpr double kGlassFromUm = 38.0;  // beyond any core
  constexpr double kGlassToUm = 44.0;
  constexpr double kMiddleUm = 5.0;
  const RingTable rings =
      MedianByRadius(ReadCircles(map, scale, centre_um, {0.0, kGlassToUm, 0.5, 64}),
                     [](cv::Point2d) { return 0; });
  const auto mean = [&](double from, double to) {
    double sum = 0;
    int count = 0;
    for (double radius = from; radius <= to; radius += rings.step_um, ++count) {
      sum += rings.At(radius);
    }
    return sum / count;
  };
  const double glass = mean(kGlassFromUm, kGlassToUm);
  const double height = mean(0.0, kMiddleUm) - glass;
  if (height < kLit * glass) return 0.0;
  double end = kMiddleUm;
  while (end < kLargestUm && rings.At(end) > glass + kLeastLight * height) end += rings.step_um;
  return end;
}

// Puts the core into `clean`, around its own place only.
void LayCore(const ContrastMap& map,
             const Scale& scale,
             const FaceRings& rings,
             const Light& glass,
             cv::Mat* clean) {
  const Core core(map, scale, rings, glass);
  const cv::Point2d centre = map.CellFromPx(scale.ToPx(rings.core_centre_um));
  const int reach = static_cast<int>(std::ceil(1.2 * rings.core_to_um / map.um_per_cell)) + 2;
  const cv::Rect box =
      cv::Rect(cvRound(centre.x) - reach, cvRound(centre.y) - reach, 2 * reach + 1, 2 * reach + 1) &
      cv::Rect(0, 0, clean->cols, clean->rows);
  for (int y = box.y; y < box.br().y; ++y) {
    for (int x = box.x; x < box.br().x; ++x) {
      float& value = clean->at<float>(y, x);
      const cv::Point2d um = scale.ToUm(map.PxFromCell(cv::Point2d(x, y)));
      value = static_cast<float>(core.At(um, static_cast<double>(value)));
    }
  }
}

}  // namespace

FaceRings PlanRings(const FibreGeometry& fibre, const Scale& scale, const ContrastMap& map) {
  const double blur_um = map.blur_sigma_cells * map.um_per_cell;
  // Three sigma of blur, or the five cells that a camera's sharpening reaches.
  const double soft_um = std::max({1.5, 3.0 * blur_um, 5.0 * map.um_per_cell});
  FaceRings rings;
  rings.cladding_radius_um = fibre.cladding.MeanRadius() * scale.um_per_px;
  const double rim_um = rings.cladding_radius_um;
  rings.rim_from_um = rim_um - std::max(10.0, soft_um + 2.0);
  rings.rim_to_um = rim_um + std::max(5.5, soft_um + 2.0);
  if (fibre.adhesive_radius_ratio) {
    rings.rim_to_um =
        std::max(rings.rim_to_um, rim_um * *fibre.adhesive_radius_ratio + soft_um + 1.0);
  }
  if (fibre.core) {
    const double radius_um = fibre.core->MeanRadius() * scale.um_per_px;
    const cv::Point2d centre_um = scale.ToUm(fibre.core->centre_px);
    if (PlausibleCore(radius_um, centre_um, blur_um)) {
      rings.core_radius_um = radius_um;
      rings.core_centre_um = centre_um;
      const double edge_um = std::max(2.5 * blur_um, 2.0 * map.um_per_cell);
      rings.core_from_um = std::max(0.3 * radius_um, radius_um - edge_um - 0.5);
      // A lit single-mode core has no edge but a bell; its skirts reach past 7 um.
      rings.core_to_um = std::max(radius_um + edge_um + 1.5, 7.5 + 1.5 * blur_um);
      if (radius_um > kLargestSingleModeUm) {
        rings.core_to_um = std::max(rings.core_to_um, SkirtsEnd(map, scale, centre_um) + 1.5);
      }
    }
  }
  rings.outer_um = map.outer_um;
  // Too blurred to tell a core's edge, a picture cannot pass; what is at its centre is then more
  // likely the core than dirt.
  if (rings.core_radius_um == 0 && blur_um > kBlurThatHidesCore) {
    rings.core_radius_um = 4.5;
    rings.core_from_um = 1.5;
    rings.core_to_um = 7.5 + 1.5 * blur_um;
  }
  return rings;
}

CleanFace FitCleanFace(const ContrastMap& map, const Scale& scale, const FaceRings& rings) {
  const double rim_um = rings.cladding_radius_um;
  const double glass_from = rings.core_radius_um > 0 ? rings.core_to_um + 1.0 : 0.0;
  const Light glass = FitLight(map, scale, glass_from, rings.rim_from_um + 4.0);
  const Light ferrule = FitLight(map, scale, rings.rim_to_um - 1.0, rings.outer_um);

  const PolarSamples about_rim = ReadCircles(
      map, scale, {0, 0}, {rings.rim_from_um, rings.rim_to_um + 1, 0.5 * map.um_per_cell, 256});
  const std::vector<double> uneven_there = UnevenAboutRim(about_rim, rim_um, glass, ferrule);
  const RingTable rim = MedianOfCircles(about_rim, uneven_there);

  cv::Mat clean = LayLight(map, rings, rim, LightGrid(map, scale, glass, ferrule));
  AddUnevenRim(map, UnevenRim(map, rings, about_rim, rim, uneven_there), &clean);
  AddGlow(map, scale, rings, glass, &clean);
  if (rings.core_radius_um > 0) LayCore(map, scale, rings, glass, &clean);
  const auto [darkest, brightest] = std::minmax_element(rim.values.begin(), rim.values.end());
  return {clean, rim.values.empty() ? 0.0 : *brightest - *darkest};
}

}  // namespace endgrade
