// Pictures of fibres, and of things that are none, with their truth: made for the tests of
// locating. Shares no code with the engine, nor with `endgrade render`.
#pragma once

#include <opencv2/core.hpp>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace endgrade::testing {

enum class CoreKind { kNone, kSingleMode, kMultimode50, kMultimode62 };

// What is in front of the lens. Lengths in micrometres, brightness in luma units of 255.
struct FibreTruth {
  bool present = true;
  cv::Point2d centre_px;
  double um_per_px = 0.4;  // geometric mean of both axes
  double aspect = 1.0;     // of a pixel's height over its width, as seen: 0.95 to 1.05
  double tilt_deg = 0.0;   // shortens by its cosine, along tilt_axis_deg
  double tilt_axis_deg = 0.0;
  double cladding_diameter_um = 125.0;
  double cladding = 90, ferrule = 160;
  CoreKind core = CoreKind::kSingleMode;
  double core_level = 200;
  cv::Point2d core_offset_um;
  double ring_um = 0;  // width of the adhesive ring; 0: none
  double ring_level = 40;
  double ferrule_edge_um = 0;  // diameter of the ferrule, if its edge is drawn

  // End-face micrometres from picture pixels, about centre_px.
  [[nodiscard]] cv::Matx22d UmFromPx() const;
  [[nodiscard]] double CoreDiameterUm() const;  // 0 if none
  [[nodiscard]] double RadiusPx() const;        // of the circle of the cladding's area
};

// What comes between it and the file.
struct Nuisance {
  std::uint64_t seed = 1;
  double hidden_fraction = 0;  // of the rim, by contamination
  double chips = 0;            // number of chips in the rim
  int scratches = 0, specks = 0, droplets = 0, films = 0;
  double grain = 0;  // of the ferrule, luma units
  double grain_um = 1.5;
  double light_slope = 0;  // relative change over the picture's longest side
  double light_axis_deg = 0;
  double vignetting = 0;      // relative loss at the corner
  double blur_um = 0.6;       // sigma of the point spread
  double mask_radius_px = 0;  // of a round black mask; 0: none
  cv::Point2d mask_centre_px;
  int reticle = 0;  // 0 none, 1 cross, 2 cross and circles, 3 scale bars
  bool text = false;
  double sharpen = 0;  // of the overshoot
  double sharpen_px = 1.5;
  double noise = 1.0;       // read noise, luma units
  double shot = 0.0;        // luma units of noise at white, as the square root goes
  double interlace_px = 0;  // shift of odd lines
  double moire = 0;         // amplitude, luma units
  double gain = 1.0;        // beyond 1: clips
  double gamma = 1.0;
  int jpeg_quality = 0;  // 0: none
};

struct Scene {
  cv::Size size{640, 480};
  FibreTruth truth;
  Nuisance nuisance;
  std::string kind;  // in words, of a picture without a fibre
};

// A random scene with a fibre that a person would call gradable.
[[nodiscard]] Scene RandomFibreScene(std::uint64_t seed);
// A random scene without one.
[[nodiscard]] Scene RandomEmptyScene(std::uint64_t seed);

[[nodiscard]] cv::Mat Render(const Scene& scene);  // CV_8UC1

// One line of what is in a scene, for a person who looks for what went wrong.
[[nodiscard]] std::string Describe(const Scene& scene);

// Through libjpeg and back, as a camera would save it.
[[nodiscard]] cv::Mat JpegRoundTrip(const cv::Mat& grey, int quality);

}  // namespace endgrade::testing
