#include "camera/fits.h"
#include "endgrade/camera.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace endgrade {
namespace {

constexpr std::size_t kLeastPictures = 3;
// Two claddings at either end of their tolerance differ by 1.6 %; more is another magnification.
constexpr double kSameMagnification = 0.03;
// How far apart two places of the fibre must be to count as two: beyond the size of what lies on
// a face, so that nothing on one face covers the same pixel from both.
constexpr double kApartUm = 20.0;
constexpr int kLeastPositions = 3;
constexpr double kLeastBlurPx = 0.5;

std::string Rounded(double value, const char* format) {
  char text[64];
  std::snprintf(text, sizeof text, format, value);
  return text;
}

Error Refused(const std::string& file, const std::string& what, const std::string& remedy) {
  return {ErrorKind::kBadOption, file, 0, what, remedy};
}

std::optional<Error> Mismatch(const std::vector<CameraSample>& samples) {
  if (samples.size() < kLeastPictures) {
    return Refused("",
                   "only " + std::to_string(samples.size()) + " of the pictures show a fibre",
                   "A camera is learnt from three pictures and more: take some with the fibre at "
                   "other places in the view");
  }
  std::vector<double> scales;
  for (const CameraSample& sample : samples) scales.push_back(sample.um_per_px);
  std::nth_element(scales.begin(),
                   scales.begin() + static_cast<std::ptrdiff_t>(scales.size() / 2),
                   scales.end());
  const double usual = scales[scales.size() / 2];
  for (const CameraSample& sample : samples) {
    if (sample.picture_px != samples.front().picture_px) {
      return Refused(sample.path.string(),
                     "is of another size than " + samples.front().path.string(),
                     "Learn from pictures of one camera and one setting only");
    }
    const double away = sample.um_per_px / usual - 1;
    if (std::abs(away) > kSameMagnification) {
      return Refused(sample.path.string(),
                     "its cladding is " + Rounded(100 * std::abs(away), "%.1f") + " % " +
                         (away < 0 ? "larger" : "smaller") + " than in the other pictures",
                     "Learn from pictures of one magnification only");
    }
  }
  return std::nullopt;
}

// A target of one direction tells the scale along its normal; the mean of both axes needs the
// pixel aspect too, with what is not known of it.
void UseTarget(const ScaleTarget& target, CameraProfile* profile) {
  profile->scale_source = CameraScaleSource::kTarget;
  if (target.both_axes) {
    profile->um_per_px = target.um_per_px;
    profile->pixel_aspect = target.pixel_aspect;
    return;
  }
  const cv::Vec2d k = target.waves_per_px;
  const double size = cv::norm(k);
  const double along = target.um_per_px.value;  // pitch times |k|
  const auto mean = [&](double aspect) {
    return along * std::hypot(k[0], k[1] / aspect) / size * std::sqrt(aspect);
  };
  const double aspect = profile->AspectInUse();
  const double from_aspect = std::abs(mean(aspect + 0.5 * profile->pixel_aspect.uncertainty) -
                                      mean(aspect - 0.5 * profile->pixel_aspect.uncertainty));
  profile->um_per_px = {mean(aspect), std::hypot(target.um_per_px.uncertainty, from_aspect)};
}

void NoteScale(const CameraProfile& profile,
               const Uncertain& by_claddings,
               std::vector<std::string>* notes) {
  const double relative = 100 * profile.um_per_px.uncertainty / profile.um_per_px.value;
  const bool target = profile.scale_source == CameraScaleSource::kTarget;
  notes->push_back("Scale: 1 pixel is " + Rounded(profile.um_per_px.value, "%.5f") + " um +/- " +
                   Rounded(relative, "%.2f") + " %, from " +
                   (target ? "the target" : std::to_string(profile.num_pictures) + " claddings") +
                   "; picture to picture the claddings vary by " +
                   Rounded(100 * profile.um_per_px_scatter / profile.um_per_px.value, "%.2f") +
                   " %.");
  if (!target) return;
  const double apart = profile.um_per_px.value - by_claddings.value;
  const double allowed = std::hypot(profile.um_per_px.uncertainty, by_claddings.uncertainty);
  if (std::abs(apart) <= allowed) return;
  notes->push_back("Warning: by the claddings it would be " + Rounded(by_claddings.value, "%.5f") +
                   " um, further from the target's than the uncertainties allow. Check the pitch, "
                   "and that the target and the fibres were photographed at one magnification.");
}

void NoteAspect(const CameraProfile& profile, std::vector<std::string>* notes) {
  const Uncertain& aspect = profile.pixel_aspect;
  notes->push_back("Pixels: " + Rounded(aspect.value, "%.4f") + " +/- " +
                   Rounded(aspect.uncertainty, "%.4f") + " as high as wide" +
                   (profile.AspectInUse() == 1.0 ? ", taken as square." : "."));
}

void NoteDirt(const CameraProfile& profile, std::vector<std::string>* notes) {
  if (!profile.dirt_known) {
    notes->push_back(
        "Fixed dirt: not learnt. The fibre was at " + std::to_string(profile.num_positions) +
        (profile.num_positions == 1 ? " place" : " places") + ", and it takes " +
        std::to_string(kLeastPositions) + " that are " + Rounded(kApartUm, "%.0f") +
        " um and more apart to tell dirt on the optics from dirt on the face: move the fibre in "
        "the view between pictures.");
    return;
  }
  const auto hidden = std::count_if(
      profile.dirt.begin(), profile.dirt.end(), [](const FixedDirt& d) { return !d.divided; });
  notes->push_back("Fixed dirt: " + std::to_string(profile.dirt.size()) + " found where " +
                   std::to_string(kLeastPositions) + " places and more overlap; " +
                   std::to_string(hidden) +
                   " hide what is under them, the others are soft shadows "
                   "and are divided out.");
}

void NoteLight(const CameraProfile& profile, std::vector<std::string>* notes) {
  if (!profile.flat) {
    notes->push_back("Flat field: not learnt, there is too little clean face in the pictures.");
  } else if (profile.num_positions < kLeastPositions) {
    notes->push_back(
        "Flat field: its slopes were learnt, but not how light falls off to all sides "
        "alike: that takes a fibre at three places and more.");
  } else {
    notes->push_back("Flat field: learnt.");
  }
  if (!profile.noise) {
    notes->push_back("Noise: not learnt, there is too little clean glass in the pictures.");
  } else if (!profile.noise->slope_known) {
    notes->push_back("Noise: " + Rounded(std::sqrt(std::max(0.0, profile.noise->offset)), "%.2f") +
                     " grey levels. How it grows with brightness was not learnt: the pictures are "
                     "all of one brightness.");
  } else {
    notes->push_back("Noise: variance " + Rounded(profile.noise->offset, "%.3f") + " + " +
                     Rounded(profile.noise->slope, "%.4f") + " x level.");
  }
  notes->push_back("Blur: " + Rounded(profile.blur_sigma_um.value, "%.2f") + " um (sigma).");
}

}  // namespace

Result<LearntCamera> LearnCamera(const std::vector<CameraSample>& samples,
                                 const std::string& id,
                                 const std::optional<ScaleTarget>& target) {
  if (auto problem = Mismatch(samples)) return *problem;
  if (target && target->picture_px != samples.front().picture_px) {
    return Refused("",
                   "the target's picture is of another size than the others",
                   "Photograph it with the same camera at the same setting");
  }
  LearntCamera learnt;
  CameraProfile& profile = learnt.profile;
  profile.id = id;
  profile.picture_px = samples.front().picture_px;
  profile.num_pictures = static_cast<int>(samples.size());
  const Uncertain by_claddings = camera::MeanScale(samples, &profile.um_per_px_scatter);
  profile.um_per_px = by_claddings;
  profile.pixel_aspect = camera::MeanAspect(samples);
  if (target) UseTarget(*target, &profile);
  profile.blur_sigma_um = camera::MiddleBlur(samples);
  const auto positions = camera::Positions(samples, kApartUm / by_claddings.value);
  profile.num_positions = 1 + *std::max_element(positions.begin(), positions.end());
  for (const CameraSample& a : samples) {
    for (const CameraSample& b : samples) {
      const cv::Point2d away = a.centre_px - b.centre_px;
      profile.largest_move_px = std::max(profile.largest_move_px, std::hypot(away.x, away.y));
    }
  }
  profile.flat = camera::FitFlat(samples, profile.num_positions);
  profile.noise = camera::FitNoise(samples);
  profile.dirt_known = profile.num_positions >= kLeastPositions;
  if (profile.dirt_known) {
    const double blur_px = std::max(kLeastBlurPx, profile.blur_sigma_um.value / by_claddings.value);
    profile.dirt = camera::FindFixedDirt(samples, positions, blur_px);
  }
  NoteScale(profile, by_claddings, &learnt.notes);
  NoteAspect(profile, &learnt.notes);
  NoteDirt(profile, &learnt.notes);
  NoteLight(profile, &learnt.notes);
  return learnt;
}

}  // namespace endgrade
