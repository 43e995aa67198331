#include "camera/fits.h"
#include "endgrade/camera.h"

#include <algorithm>
#include <cmath>

namespace endgrade {

double FlatField::At(cv::Point2d p_px, cv::Size picture) const {
  const auto terms = camera::FlatTerms(p_px, picture);
  double sum = 0;
  for (std::size_t c = 0; c < terms.size(); ++c) sum += coefficients[c] * terms[c];
  return std::exp(sum);
}

double CameraProfile::AspectInUse() const {
  return std::abs(pixel_aspect.value - 1.0) <= pixel_aspect.uncertainty ? 1.0 : pixel_aspect.value;
}

std::optional<std::string> CameraProfile::Problem() const {
  if (picture_px.width < 1 || picture_px.height < 1) return "it names no picture size";
  if (!(um_per_px.value >= 0.01 && um_per_px.value <= 10)) {
    return "um_per_px must be within [0.01, 10]";
  }
  if (!(um_per_px.uncertainty >= 0 && um_per_px.uncertainty <= 0.2 * um_per_px.value)) {
    return "the scale's uncertainty must be within a fifth of the scale";
  }
  if (!(pixel_aspect.value >= 0.5 && pixel_aspect.value <= 2)) {
    return "pixel_aspect must be within [0.5, 2]";
  }
  for (const FixedDirt& spot : dirt) {
    if (spot.divided ? spot.grid.empty() || !(spot.grid_step_px >= 1)
                     : spot.outline_px.size() < 3) {
      return "a piece of dirt has no extent";
    }
  }
  return std::nullopt;
}

std::optional<Error> CameraMismatch(const CameraProfile& profile, const Frame& frame) {
  const auto words = [](cv::Size size) {
    return std::to_string(size.width) + " x " + std::to_string(size.height);
  };
  if (const auto problem = profile.Problem()) {
    return Error{
        ErrorKind::kBadOption, profile.id, 0, "the camera profile is unfit: " + *problem, ""};
  }
  if (profile.picture_px == frame.luma.size()) return std::nullopt;
  return Error{ErrorKind::kBadOption,
               frame.path.string(),
               0,
               "is " + words(frame.luma.size()) + " pixels, and the camera profile \"" +
                   profile.id + "\" is of pictures of " + words(profile.picture_px),
               "Learn a profile from pictures of this size, or leave --camera out"};
}

ScaleOptions WithCameraScale(const CameraProfile& profile, ScaleOptions options) {
  options.pixel_aspect = profile.AspectInUse();
  if (options.um_per_px) return options;
  options.um_per_px = profile.um_per_px.value;
  options.given_relative_uncertainty = profile.um_per_px.uncertainty / profile.um_per_px.value;
  options.given_source = ScaleSource::kProfile;
  return options;
}

}  // namespace endgrade
