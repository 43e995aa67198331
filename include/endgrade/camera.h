// What is known of one camera: learnt once from several photographs, used on all that follow.
//
//   photographs -> sample (each by itself) -> learn -> CameraProfile -> grade (GradeOptions.camera)
#pragma once

#include "endgrade/flatten.h"
#include "endgrade/frame.h"
#include "endgrade/lay.h"
#include "endgrade/limits.h"
#include "endgrade/measure.h"
#include "endgrade/reason.h"
#include "endgrade/result.h"
#include "endgrade/scale.h"

#include <opencv2/core.hpp>

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace endgrade {

// A value with its expanded uncertainty (k = 2).
struct Uncertain {
  double value = 0;
  double uncertainty = 0;
};

// Dirt that stays at the same pixels while the fibre moves. A soft shadow, in which whatever is in
// focus still shows, is divided out; anything else hides the face and counts as not seen.
struct FixedDirt {
  cv::Point2d centre_px;
  double diameter_px = 0;   // of the circle of its area, at 40 % of its depth
  double transmission = 1;  // light that passes where it is strongest; over 1 where it adds light
  bool divided = false;     // false: hidden

  std::vector<cv::Point> outline_px;  // hidden: all that is not seen, its soft edge included

  // Divided: transmission at places `grid_step_px` apart, rows from `grid_origin_px` down; between
  // them straight lines, outside 1.
  cv::Point2d grid_origin_px;
  double grid_step_px = 1;
  cv::Mat grid;  // CV_32FC1
};

// Brightness of an even field over that at the picture's middle: exp of a polynomial in x and y,
// which run from -1 to 1 along the picture's longer side, the shorter one in proportion.
struct FlatField {
  // Of x, y, x^2 - y^2, xy, x^2 + y^2 and (x^2 + y^2)^2.
  std::array<double, 6> coefficients{};
  [[nodiscard]] double At(cv::Point2d p_px, cv::Size picture) const;
};

// Variance of a pixel against its neighbours, luma units squared: offset + slope * level.
struct NoiseLaw {
  double offset = 0;
  double slope = 0;  // 0 where the pictures' brightness does not vary enough to tell
  bool slope_known = false;
};

// Written to profiles; do not rename.
enum class CameraScaleSource { kCladdings, kTarget };

struct CameraProfile {
  std::string id;      // lower-case letters, digits and hyphens
  std::string sha256;  // of the file's bytes; empty for one that was not read from a file
  cv::Size picture_px;
  int num_pictures = 0;   // learnt from
  int num_positions = 0;  // places of the fibre that are far enough apart to tell dirt by
  double largest_move_px = 0;

  CameraScaleSource scale_source = CameraScaleSource::kCladdings;
  Uncertain um_per_px;            // mean of both axes
  double um_per_px_scatter = 0;   // standard deviation from picture to picture
  Uncertain pixel_aspect{1, 0};   // um a pixel along y over that along x
  Uncertain blur_sigma_um;        // middle of the pictures'; uncertainty: twice their spread
  std::optional<FlatField> flat;  // empty: could not be learnt
  std::optional<NoiseLaw> noise;
  bool dirt_known = false;  // false: the fibre did not move enough to tell
  std::vector<FixedDirt> dirt;

  // Square where 1 is within the uncertainty.
  [[nodiscard]] double AspectInUse() const;
  // What makes it unfit to use, or nothing.
  [[nodiscard]] std::optional<std::string> Problem() const;
};

// What one photograph tells of its camera. Small: no pixels at full resolution are kept.
struct CameraSample {
  std::filesystem::path path;
  std::string sha256;
  cv::Size picture_px;
  cv::Point2d centre_px;          // the cladding's
  double um_per_px = 0;           // from the cladding's nominal diameter
  double fit_relative = 0;        // standard uncertainty of that from the fit alone
  double tolerance_relative = 0;  // and from the cladding's tolerance and the polish
  double pixel_aspect = 1;
  double blur_sigma_px = 0;

  // Residual over background by cell, NaN where the face's own rings or the picture's border are;
  // and the same cells' noise. CV_32FC1. Centre of cell (0, 0) at roi_px.tl() + (cell_px - 1) / 2.
  cv::Rect roi_px;
  int cell_px = 1;
  cv::Mat ratio;
  cv::Mat ratio_noise;

  struct Light {  // brightness at one place of one ring
    int ring = 0;
    cv::Point2d p_px;
    double log_level = 0;
  };
  std::vector<Light> light;
  struct Block {  // of pixels on clean glass
    double level = 0;
    double variance = 0;
  };
  std::vector<Block> blocks;
};

// Errors: kUnsupported when there is no fibre in it.
//
//   limits    for the cladding's nominal diameter and tolerance
[[nodiscard]] Result<CameraSample> SampleForCamera(const Frame& frame, const Limits& limits);

// Lines or a grid of known pitch, photographed by the camera.
struct ScaleTarget {
  cv::Size picture_px;
  bool both_axes = false;
  Uncertain um_per_px;           // along the lines' normal; of a grid the mean of both axes
  double normal_deg = 0;         // direction of the (first) lines' normal, 0 along x
  Uncertain pixel_aspect{1, 0};  // of a grid
  double num_periods = 0;        // across the picture, along the normal
  double residual_um = 0;        // rms distance of the lines from where an even pitch has them
  cv::Vec2d waves_per_px;        // of the (first) lines
};

struct TargetOptions {
  double pitch_um = 10;  // between neighbouring lines of one direction. Range [0.5, 1000]
  // Expanded uncertainty of the pitch over itself (k = 2); 0.2 % is a plain stage micrometer's;
  // common practice, no source. Range [0, 0.1].
  double pitch_relative_uncertainty = 0.002;
  [[nodiscard]] std::optional<std::string> Problem() const;
};

// Errors: kBadOption; kUnsupported with what was wrong: no lines, too few, not evenly spaced.
//
//   method    strongest wave of the windowed spectrum, then its phase, block by block over the
//             picture, against place: a straight line whose slope is the frequency
[[nodiscard]] Result<ScaleTarget> MeasureTarget(const Frame& frame, const TargetOptions& options);

struct LearntCamera {
  CameraProfile profile;
  std::vector<std::string> notes;  // in words: what was learnt, what could not be and why
};

// Errors: kBadOption for fewer than three samples, pictures of different sizes or magnifications.
//
//   target    sets the scale instead of the claddings, and of a grid the pixel aspect
[[nodiscard]] Result<LearntCamera> LearnCamera(const std::vector<CameraSample>& samples,
                                               const std::string& id,
                                               const std::optional<ScaleTarget>& target = {});

// TOML with comments, schema "endgrade.camera/1".
[[nodiscard]] std::string CameraProfileToml(const CameraProfile& profile);

// Errors: kNotFound, kUnreadable, kTooLarge; kBadOption with file, line and what was expected.
[[nodiscard]] Result<CameraProfile> ReadCameraProfile(const std::filesystem::path& path);

// ---- use, by the chain

// One piece of fixed dirt inside the zones of one picture.
struct RemovedDirt {
  bool divided = false;
  cv::Point2d centre_px;
  double diameter_um = 0;
  double transmission = 1;
  int zone = -1;  // innermost that it touches, index into limits.zones
};

// What a profile did to one picture. In the record.
struct CameraUse {
  std::string id;
  std::string sha256;
  bool flat_field = false;
  std::vector<RemovedDirt> removed;
  std::vector<Reason> problems;  // each forbids a pass
  std::vector<Reason> warnings;
};

// Why the profile is not for this picture, or nothing.
[[nodiscard]] std::optional<Error> CameraMismatch(const CameraProfile& profile, const Frame& frame);

// Scale options with the profile's scale and aspect; a scale that is given already stays.
[[nodiscard]] ScaleOptions WithCameraScale(const CameraProfile& profile, ScaleOptions options);

// What the camera lays over the part of the picture around the zones.
//
//   margin_um  how far beyond the zones: that of FlattenOptions
//   gone       indices of divided dirt that is left out
[[nodiscard]] CameraField FieldOf(const CameraProfile& profile,
                                  const ZoneMap& zones,
                                  double margin_um,
                                  const std::vector<std::size_t>& gone = {});

// Divided dirt whose shape the flattened picture still shows, or shows reversed: it is not there as
// it was when the camera was learnt. Such dirt must not be divided out.
[[nodiscard]] std::vector<std::size_t> DirtThatIsGone(const CameraProfile& profile,
                                                      const ContrastMap& flattened);

// What was done to the picture; the zones' in-view fractions lose what is hidden.
[[nodiscard]] CameraUse UseCamera(const CameraProfile& profile,
                                  const CameraField& field,
                                  const Scale& scale,
                                  const Limits& limits,
                                  const std::vector<std::size_t>& gone,
                                  ZoneMap* zones);

// A feature beside hidden cells may be larger than seen: marks it as cut off.
void MarkBesideHidden(const ContrastMap& contrast, std::vector<Feature>* features);

}  // namespace endgrade
