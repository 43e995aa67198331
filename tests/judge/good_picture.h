// A picture that passes, for tests to spoil one thing at a time.
#pragma once

#include "endgrade/judge.h"

#include <algorithm>
#include <map>
#include <ostream>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

namespace endgrade {

// Read once: properties are tried on thousands of pictures.
inline const Limits& ShippedLimits(const std::string& id) {
  static std::map<std::string, Limits> read;
  const auto known = read.find(id);
  if (known != read.end()) return known->second;
  auto limits = FindLimits(id);
  if (!limits.ok()) throw std::runtime_error(limits.error().Text());
  return read.emplace(id, *std::move(limits)).first->second;
}

struct Picture {
  Limits limits;
  FibreGeometry geometry;
  Scale scale;
  std::vector<Feature> features;
  std::vector<ZoneSight> sight;
  Quality quality;
  JudgeOptions options;

  // Everything in view, features of 0.5 um visible, 0.25 um a pixel, a round cladding of 125 um and
  // no core to be seen.
  explicit Picture(const std::string& id) : limits(ShippedLimits(id)) {
    geometry.cladding = {{480, 480}, 250, 250, 0};
    geometry.rim_in_view_fraction = geometry.rim_seen_fraction = 1;
    scale.centre_px = geometry.cladding.centre_px;
    scale.um_per_px = 0.25;
    scale.um_from_px = cv::Matx22d::eye() * 0.25;
    scale.um_per_px_uncertainty = 0.002;
    sight.assign(limits.zones.size(), {1.0, 0.5, 0.5});
    quality.blur_sigma_um = 0.4;
    quality.blur_fwhm_um = 0.94;
    quality.stated_contrast = 0.3;
    quality.view_um = {240, 240};
  }

  Picture& Add(
      FeatureKind kind, const std::string& zone, double size_um, double u_um = 0, int count = 1) {
    Feature feature;
    feature.kind = kind;
    feature.size_um = size_um;
    feature.size_uncertainty_um = u_um;
    feature.snr = 30;
    for (size_t i = 0; i < limits.zones.size(); ++i) {
      if (limits.zones[i].name == zone) feature.zone = static_cast<int>(i);
    }
    for (int i = 0; i < count; ++i) {
      feature.id = static_cast<int>(features.size()) + 1;
      features.push_back(feature);
    }
    return *this;
  }

  // A core of a diameter, in the middle.
  Picture& SetCore(double diameter_um) {
    const double radius_px = 0.5 * diameter_um / scale.um_per_px;
    geometry.core = Ellipse{geometry.cladding.centre_px, radius_px, radius_px, 0};
    return *this;
  }

  [[nodiscard]] Grade Judged() const {
    return Judge(geometry, scale, features, sight, quality, limits, options);
  }
};

constexpr auto kScratch = FeatureKind::kScratch;
constexpr auto kDefect = FeatureKind::kDefect;

inline std::vector<std::string> Codes(const std::vector<Reason>& reasons) {
  std::vector<std::string> codes;
  for (const Reason& reason : reasons) codes.push_back(reason.code);
  return codes;
}

// The outcome of the rule with an id.
inline RuleOutcome OutcomeOf(const Grade& grade, const Limits& limits, const std::string& id) {
  for (const RuleOutcome& outcome : grade.fibres.at(0).rules) {
    if (limits.rules.at(static_cast<size_t>(outcome.rule)).id == id) return outcome;
  }
  throw std::runtime_error("no rule " + id);
}

inline std::ostream& operator<<(std::ostream& out, Verdict verdict) {
  return out << (verdict == Verdict::kPass   ? "pass"
                 : verdict == Verdict::kFail ? "fail"
                                             : "ungradable");
}

}  // namespace endgrade
