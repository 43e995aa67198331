// Every field of a scene once: its key, where it lives and its range. Reading, writing and checking
// all go through here. A visitor has Number, Whole, Seed, Flag, Text, Point, Tint and Choice.
#pragma once

#include "endgrade/scene.h"

#include <array>
#include <string_view>

namespace endgrade::render {

template <typename E>
struct Choice {
  E value;
  std::string_view name;
};

inline constexpr std::array<Choice<FeatureShape>, 11> kShapeNames{{
    {FeatureShape::kScratch, "scratch"},
    {FeatureShape::kSpeck, "speck"},
    {FeatureShape::kPit, "pit"},
    {FeatureShape::kParticle, "particle"},
    {FeatureShape::kHair, "hair"},
    {FeatureShape::kLint, "lint"},
    {FeatureShape::kFilm, "film"},
    {FeatureShape::kDroplet, "droplet"},
    {FeatureShape::kFingerprint, "fingerprint"},
    {FeatureShape::kChip, "chip"},
    {FeatureShape::kCrack, "crack"},
}};
inline constexpr std::array<Choice<CoreLook>, 3> kCoreNames{{
    {CoreLook::kPlain, "plain"},
    {CoreLook::kLit, "lit"},
    {CoreLook::kDark, "dark"},
}};
inline constexpr std::array<Choice<AdhesiveLook>, 4> kAdhesiveNames{{
    {AdhesiveLook::kNone, "none"},
    {AdhesiveLook::kBright, "bright"},
    {AdhesiveLook::kDark, "dark"},
    {AdhesiveLook::kUneven, "uneven"},
}};
inline constexpr std::array<Choice<ColourMode>, 3> kColourNames{{
    {ColourMode::kGrey, "grey"},
    {ColourMode::kTinted, "tinted"},
    {ColourMode::kColour, "colour"},
}};

template <typename Visitor>
void VisitFeature(SceneFeature& f, Visitor& v) {
  v.Choice("shape", f.shape, kShapeNames);
  v.Point("centre_um", f.centre_um, 2000);
  v.Number("diameter_um", f.diameter_um, 0.05, 400);
  v.Number("length_um", f.length_um, 0.1, 2000);
  v.Number("width_um", f.width_um, 0.05, 150);
  v.Number("angle_deg", f.angle_deg, -360, 360);
  v.Number("bend_per_um", f.bend_per_um, -0.2, 0.2);
  v.Number("dash_um", f.dash_um, 0, 500);
  v.Number("gap_um", f.gap_um, 0, 500);
  v.Number("fade_um", f.fade_um, 0, 500);
  v.Number("elongation", f.elongation, 1, 6);
  v.Number("irregularity", f.irregularity, 0, 0.4);
  v.Number("contrast", f.contrast, -0.98, 20);
  v.Number("rim_contrast", f.rim_contrast, -0.98, 20);
  v.Number("opacity", f.opacity, 0, 1);
  v.Seed("seed", f.seed);
}

template <typename Visitor>
void VisitFibre(SceneFibre& f, Visitor& v) {
  v.Flag("present", f.present);
  v.Number("core_diameter_um", f.core_diameter_um, 1, 110);
  v.Point("core_offset_um", f.core_offset_um, 20);
  v.Choice("core_look", f.core_look, kCoreNames);
  v.Number("core_contrast", f.core_contrast, -0.95, 20);
  v.Number("cladding_diameter_um", f.cladding_diameter_um, 20, 400);
  v.Number("ovality", f.ovality, 0, 0.1);
  v.Number("ovality_angle_deg", f.ovality_angle_deg, -360, 360);
}

template <typename Visitor>
void VisitFace(SceneFace& f, Visitor& v) {
  v.Number("glass_level", f.glass_level, 0.001, 2);
  v.Number("ferrule_level", f.ferrule_level, 0.001, 2);
  v.Choice("adhesive", f.adhesive, kAdhesiveNames);
  v.Number("adhesive_width_um", f.adhesive_width_um, 0, 12);
  v.Number("adhesive_level", f.adhesive_level, 0, 4);
  v.Number("grain_rms", f.grain_rms, 0, 0.5);
  v.Number("grain_size_um", f.grain_size_um, 0.2, 10);
  v.Number("glass_grain_rms", f.glass_grain_rms, 0, 0.2);
  v.Number("lines_rms", f.lines_rms, 0, 0.5);
  v.Number("lines_angle_deg", f.lines_angle_deg, -360, 360);
  v.Number("slope_deg", f.slope_deg, 0, 12);
  v.Number("slope_direction_deg", f.slope_direction_deg, -360, 360);
}

template <typename Visitor>
void VisitView(SceneCamera& c, Visitor& v) {
  v.Text("name", c.name);
  v.Whole("width_px", c.width_px, 16, 6000);
  v.Whole("height_px", c.height_px, 16, 6000);
  v.Number("um_per_px", c.um_per_px, 0.05, 3);
  v.Number("pixel_aspect", c.pixel_aspect, 0.5, 2);
  v.Number("rotation_deg", c.rotation_deg, -360, 360);
  v.Number("tilt_deg", c.tilt_deg, 0, 30);
  v.Number("tilt_direction_deg", c.tilt_direction_deg, -360, 360);
  v.Point("centre_offset_px", c.centre_offset_px, 6000);
  v.Number("numerical_aperture", c.numerical_aperture, 0.05, 0.95);
  v.Number("wavelength_um", c.wavelength_um, 0.2, 1.2);
  v.Number("defocus_um", c.defocus_um, -60, 60);
  v.Number("focus_slope", c.focus_slope, -0.3, 0.3);
  v.Number("focus_slope_direction_deg", c.focus_slope_direction_deg, -360, 360);
  v.Number("aberration_um", c.aberration_um, 0, 10);
  v.Number("exposure", c.exposure, 0.001, 50);
  v.Number("full_well_e", c.full_well_e, 200, 1e6);
  v.Seed("shot", c.shot);
  v.Number("read_noise_e", c.read_noise_e, 0, 1000);
  v.Number("vignetting", c.vignetting, 0, 0.9);
  v.Number("light_slope", c.light_slope, 0, 1);
  v.Number("light_direction_deg", c.light_direction_deg, -360, 360);
  v.Whole("lens_dirt", c.lens_dirt, 0, 50);
  v.Whole("sensor_dust", c.sensor_dust, 0, 50);
  v.Whole("hot_pixels", c.hot_pixels, 0, 1000);
  v.Seed("unit", c.unit);
}

template <typename Visitor>
void VisitOutput(SceneCamera& c, Visitor& v) {
  v.Number("moire", c.moire, 0, 0.2);
  v.Number("interlace_px", c.interlace_px, -8, 8);
  v.Choice("colour", c.colour, kColourNames);
  v.Tint("tint_bgr", c.tint_bgr);
  v.Number("gamma", c.gamma, 0.4, 3);
  v.Number("black_level", c.black_level, 0, 0.3);
  v.Number("sharpen", c.sharpen, 0, 4);
  v.Number("sharpen_radius_px", c.sharpen_radius_px, 0.3, 10);
  v.Flag("reticle", c.reticle);
  v.Text("caption", c.caption);
  v.Number("mask_diameter", c.mask_diameter, 0, 3);
  v.Whole("jpeg_quality", c.jpeg_quality, 0, 100);
  v.Flag("jpeg_half_chroma", c.jpeg_half_chroma);
}

template <typename Visitor>
void VisitCamera(SceneCamera& c, Visitor& v) {
  VisitView(c, v);
  VisitOutput(c, v);
}

}  // namespace endgrade::render
