// What a rendered photograph shows and what took it: the renderer's input. Lengths are end-face
// micrometres from the cladding's centre, x right and y down before the camera turns.
#pragma once

#include <opencv2/core.hpp>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace endgrade {

// Written to scene and truth files; do not rename.
enum class FeatureShape {
  kScratch,      // line: straight or bent, whole or dashed, one- or two-sided
  kSpeck,        // small compact spot
  kPit,          // dark hollow with a bright rim on one side
  kParticle,     // irregular, dark rim, brighter middle
  kHair,         // long, thick, smooth, with a bright line along its middle
  kLint,         // long, thin, curled
  kFilm,         // residue: wide patch with an edge and thin-film fringes
  kDroplet,      // dried droplet: ring with a faint middle
  kFingerprint,  // ridges
  kChip,         // missing glass at the cladding's rim
  kCrack,        // jagged line
};

struct SceneFeature {
  FeatureShape shape = FeatureShape::kSpeck;
  cv::Point2d centre_um;

  // Compact shapes: mean diameter of the outline. Range (0, 400].
  double diameter_um = 3.0;
  // Lines: along the middle line, and across it. Range (0, 2000] and (0, 150].
  double length_um = 60.0;
  double width_um = 1.5;
  double angle_deg = 0.0;    // of a line at its centre, or of a compact shape's long axis
  double bend_per_um = 0.0;  // curvature of a line: 1 / radius
  double dash_um = 0.0;      // a dashed line's strokes and gaps; 0: whole
  double gap_um = 0.0;
  double fade_um = 0.0;       // a line loses its contrast over this length at either end
  double elongation = 1.0;    // compact shapes: long over short axis. Range [1, 6]
  double irregularity = 0.0;  // compact shapes: rms of the outline about its mean. Range [0, 0.4]

  // (feature - surroundings) / surroundings in linear light, before the optics: of the middle, and
  // of the rim (compact shapes) or the other flank (scratches). Range [-0.98, 20].
  double contrast = -0.5;
  double rim_contrast = 0.0;
  // 1: hides the face's own texture; 0: lets it through. Range [0, 1].
  double opacity = 0.0;
  std::uint64_t seed = 0;  // of its irregular parts
};

// Written to scene files; do not rename.
enum class CoreLook { kPlain, kLit, kDark };
enum class AdhesiveLook { kNone, kBright, kDark, kUneven };
enum class ColourMode { kGrey, kTinted, kColour };

struct SceneFibre {
  bool present = true;  // false: a picture without any fibre
  double core_diameter_um = 9.0;
  cv::Point2d core_offset_um;  // concentricity error
  CoreLook core_look = CoreLook::kPlain;
  double core_contrast = 0.08;  // plain and dark: against the cladding; lit: of the light's peak
  double cladding_diameter_um = 125.0;
  double ovality = 0.0;  // (long - short) / mean axis
  double ovality_angle_deg = 0.0;
};

struct SceneFace {
  double glass_level = 0.30;    // linear, 1 = the sensor's white at exposure 1
  double ferrule_level = 0.45;  // likewise
  AdhesiveLook adhesive = AdhesiveLook::kNone;
  double adhesive_width_um = 1.5;
  double adhesive_level = 0.1;
  double grain_rms = 0.05;       // of the ferrule, relative to its level
  double grain_size_um = 0.9;    // lattice step of the finer of its two textures
  double glass_grain_rms = 0.0;  // the same on the glass
  double lines_rms = 0.0;        // polishing lines on the ferrule
  double lines_angle_deg = 0.0;
  double slope_deg = 0.0;  // 8: angled polish, seen square to its face
  double slope_direction_deg = 90.0;
};

struct SceneCamera {
  std::string name = "plain";
  int width_px = 1280;
  int height_px = 960;
  double um_per_px = 0.25;    // along x, before tilt. Range [0.05, 3]
  double pixel_aspect = 1.0;  // um a pixel along y over that along x
  double rotation_deg = 0.0;  // of the face in the picture, clockwise as seen
  double tilt_deg = 0.0;      // shortens one direction by its cosine
  double tilt_direction_deg = 0.0;
  cv::Point2d centre_offset_px;  // of the cladding's centre from the picture's

  double numerical_aperture = 0.40;
  double wavelength_um = 0.53;
  double defocus_um = 0.0;
  double focus_slope = 0.0;  // um of defocus a um across the face
  double focus_slope_direction_deg = 0.0;
  double aberration_um = 0.12;  // sigma of a Gaussian that the lens adds

  double exposure = 1.0;
  double full_well_e = 12000;  // electrons at white
  std::uint64_t shot = 0;      // another value: another exposure of the same face, new noise
  double read_noise_e = 8;
  double vignetting = 0.1;   // light lost in the corners
  double light_slope = 0.0;  // change of light from side to side, relative
  double light_direction_deg = 0.0;
  int lens_dirt = 0;    // soft spots that stay with the camera
  int sensor_dust = 0;  // small dark ones, nearly in focus
  int hot_pixels = 0;
  // Which specimen of this camera: scenes of one unit other than 0 share their dirt, dust and hot
  // pixels, whatever their seeds. 0: as the scene's own seed has them.
  std::uint64_t unit = 0;
  double moire = 0.0;         // amplitude, relative
  double interlace_px = 0.0;  // shift of every other row

  ColourMode colour = ColourMode::kGrey;
  cv::Vec3d tint_bgr{1.0, 1.0, 1.0};
  double gamma = 1.0;        // stored = linear ^ (1 / gamma)
  double black_level = 0.0;  // stored value of no light, as a share of white
  double sharpen = 0.0;      // unsharp mask: amount and radius
  double sharpen_radius_px = 1.5;
  bool reticle = false;
  std::string caption;           // burnt into a corner: letters, digits and -:./
  double mask_diameter = 0.0;    // black outside a circle, times the picture's height; 0: none
  int jpeg_quality = 0;          // 1 to 100; 0: PNG
  bool jpeg_half_chroma = true;  // 4:2:0
};

struct SceneDescription {
  std::uint64_t seed = 1;            // of grain, noise and the camera's dirt
  std::string limits_id = "sm-upc";  // the table of the truth's verdict
  SceneFibre fibre;
  SceneFace face;
  SceneCamera camera;
  std::vector<SceneFeature> features;

  // "camera.um_per_px = 9: must be within [0.05, 3]", or nothing.
  [[nodiscard]] std::optional<std::string> Problem() const;
};

}  // namespace endgrade
