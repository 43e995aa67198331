#include "endgrade/scale.h"

#include <cmath>
#include <cstdio>

namespace endgrade {
namespace {

// A tolerance quoted as +/- t is taken as a rectangular distribution: u = t / sqrt(3)
// (JCGM 100:2008, 4.3.7).
double StandardFromTolerance(double half_width) { return half_width / std::sqrt(3.0); }

// An angled face seen along the fibre shows its slope shortened by cos(angle); seen square to the
// face, the outline is long by 1 / cos(angle) and is taken for a tilt. Which of the two it is
// cannot be told from the outline within its tolerance, so the whole difference is uncertainty.
double StandardFromPolish(double polish_angle_deg) {
  const double shortening = 1.0 - std::cos(polish_angle_deg * CV_PI / 180.0);
  return StandardFromTolerance(shortening);
}

std::string Rounded(double value, const char* format) {
  char text[64];
  std::snprintf(text, sizeof text, format, value);
  return text;
}

Reason CladdingSizeReason(double measured_um, const FibreType& fibre, ScaleSource source) {
  const bool given = source == ScaleSource::kGiven;
  const std::string remedy =
      given
          ? "check --um-per-px against a scale target, or leave it out to use the cladding itself."
          : "the profile is of another camera or magnification. Learn this one, or leave --camera "
            "out to use the cladding itself.";
  return {"cladding_size",
          std::string("At the ") + (given ? "given scale" : "camera profile's scale") +
              " the cladding measures " + Rounded(measured_um, "%.1f") + " um, not " +
              Rounded(fibre.cladding_diameter_um, "%.0f") + " +/- " +
              Rounded(fibre.cladding_tolerance_um, "%.1f") + " um: " + remedy};
}

}  // namespace

std::optional<std::string> ScaleOptions::Problem() const {
  if (um_per_px && !(*um_per_px >= 0.01 && *um_per_px <= 10.0)) {
    return "ScaleOptions.um_per_px = " + Rounded(*um_per_px, "%g") + ": must be within [0.01, 10]";
  }
  if (!(given_relative_uncertainty >= 0.0 && given_relative_uncertainty <= 0.2)) {
    return "ScaleOptions.given_relative_uncertainty = " +
           Rounded(given_relative_uncertainty, "%g") + ": must be within [0, 0.2]";
  }
  if (given_source == ScaleSource::kCladding) {
    return "ScaleOptions.given_source: a given scale is not the cladding's";
  }
  if (!(pixel_aspect >= 0.5 && pixel_aspect <= 2.0)) {
    return "ScaleOptions.pixel_aspect = " + Rounded(pixel_aspect, "%g") +
           ": must be within [0.5, 2]";
  }
  return std::nullopt;
}

cv::Point2d Scale::ToUm(cv::Point2d p_px) const {
  const cv::Vec2d um = um_from_px * cv::Vec2d(p_px.x - centre_px.x, p_px.y - centre_px.y);
  return {um[0], um[1]};
}

cv::Point2d Scale::ToPx(cv::Point2d p_um) const {
  const cv::Vec2d px = um_from_px.inv() * cv::Vec2d(p_um.x, p_um.y);
  return {centre_px.x + px[0], centre_px.y + px[1]};
}

Result<Scale> SetScale(const FibreGeometry& fibre,
                       const Limits& limits,
                       const ScaleOptions& options) {
  if (auto problem = options.Problem()) {
    return Error{ErrorKind::kBadOption, "", 0, *problem, ""};
  }
  const double radius_px = fibre.cladding.MeanRadius();
  const double nominal_um = limits.fibre.cladding_diameter_um;
  const double fit_relative = 0.5 * fibre.cladding_radius_uncertainty_px / radius_px;
  const double polish_relative = StandardFromPolish(limits.fibre.polish_angle_deg);

  Scale scale;
  scale.centre_px = fibre.cladding.centre_px;
  scale.pixel_aspect = options.pixel_aspect;
  double standard_relative = 0.0;
  if (options.um_per_px) {
    scale.source = options.given_source;
    scale.um_per_px = *options.um_per_px;
    standard_relative = std::hypot(0.5 * options.given_relative_uncertainty, polish_relative);
  } else {
    scale.source = ScaleSource::kCladding;
    scale.um_per_px = 0.5 * nominal_um / radius_px;
    const double tolerance_relative =
        StandardFromTolerance(limits.fibre.cladding_tolerance_um) / nominal_um;
    standard_relative = std::hypot(tolerance_relative, fit_relative, polish_relative);
  }
  scale.um_per_px_uncertainty = 2.0 * standard_relative * scale.um_per_px;
  scale.cladding_diameter_um = 2.0 * radius_px * scale.um_per_px;
  scale.um_from_px = fibre.cladding.ToUnitCircle() * (radius_px * scale.um_per_px);

  if (scale.source != ScaleSource::kCladding) {
    const double doubt_um =
        2.0 * std::hypot(standard_relative, fit_relative) * scale.cladding_diameter_um;
    if (std::abs(scale.cladding_diameter_um - nominal_um) >
        limits.fibre.cladding_tolerance_um + doubt_um) {
      scale.warnings.push_back(
          CladdingSizeReason(scale.cladding_diameter_um, limits.fibre, scale.source));
    }
  }
  return scale;
}

}  // namespace endgrade
