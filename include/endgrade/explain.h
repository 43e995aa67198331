// A second look at a grade: why each feature was found, how it was measured, and which rule it
// meets or breaks, as words and as a picture. It measures nothing anew that decides anything.
#pragma once

#include "endgrade/grade_image.h"

#include <opencv2/core.hpp>

#include <string>
#include <vector>

namespace endgrade {

// The flattened brightness along a straight way across a feature.
struct ProfileAcross {
  std::vector<double> offset_um;  // ascending; 0 at the peak, of a line at its spine
  std::vector<double> level;      // luma units above the clean face: what was measured on
  std::vector<double> raw;        // unsmoothed, on the same way; empty for a line (mean along it)
  // The bar, blurred, that explains a line; empty where none does: for a patch, and for a scratch
  // of two sides, which is as wide as both together.
  std::vector<double> model;
  double base_level = 0;          // of the surroundings
  double border_level = 0;        // where the border was taken: half height; a bar's half peak
  std::vector<double> border_um;  // where `level` crosses it, or the bar's two edges
  cv::Point2d from_px;            // the way's ends in the picture
  cv::Point2d to_px;
};

// Why one feature was found and how it was measured.
struct Evidence {
  std::size_t feature = 0;      // index into FibreGrade.features
  std::size_t region = 0;       // index into Detection.regions
  double threshold_sigma = 0;   // least signal-to-noise of its kind of search
  double filter_um = 0;         // sigma of the Gaussian whose response is shown
  double response = 0;          // that response at its peak, luma units, signed
  double noise = 0;             // of that response there, luma units
  double depth = 0;             // height over the surroundings as measured, luma units, signed
  double seen_diameter_um = 0;  // enclosing circle of the border, blur still in it
  double blur_um = 0;           // sigma: camera and smoothing together
  bool width_across = false;    // a scratch whose width the brightness across it told
  double nearest_um = 0;        // distance of its nearest border point from the cladding's centre
  ProfileAcross profile;
};

// All that a graded picture is explained from. References must outlive it.
struct GradedPicture {
  const Frame& frame;
  const Limits& limits;
  const GradeOptions& options;
  const Grade& grade;
  const Workings& workings;
};

// Errors: kBadOption when there is no such feature or the workings are not of this grade.
//
//   id   Feature.id, as in the record
[[nodiscard]] Result<Evidence> FindEvidence(const GradedPicture& picture, int id);

// Ids of the features that deserve a sheet: what breaks a rule, else the `most_allowed` largest
// for their kind. In the order of the record.
[[nodiscard]] std::vector<int> FeaturesWorthExplaining(const GradedPicture& picture,
                                                       std::size_t most_allowed = 3);

// Paragraphs without line breaks inside, each ending in a newline: found, measured, zone, rules
// with margins. Safe to print.
[[nodiscard]] std::string ExplainFeature(const GradedPicture& picture, const Evidence& evidence);

// The same of the whole face: verdict, scale, what each zone would have shown, counts by rule.
[[nodiscard]] std::string ExplainFace(const GradedPicture& picture);

// Sheets, CV_8UC3 in blue, green, red order, `kSheetWidth` wide: photograph with outline,
// flattened picture, noise, matched response over noise, profile with its axes, and the words.
inline constexpr int kSheetWidth = 1920;
[[nodiscard]] cv::Mat DrawFeatureSheet(const GradedPicture& picture, const Evidence& evidence);
[[nodiscard]] cv::Mat DrawFaceSheet(const GradedPicture& picture);

}  // namespace endgrade
