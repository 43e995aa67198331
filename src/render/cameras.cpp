#include "endgrade/render.h"

#include <algorithm>

namespace endgrade {
namespace {

// Invented cameras, each of a kind that is in use: field probe on a USB frame grabber, older
// interlaced probe, bench microscopes with grey, colour and large sensors, and a phone on an
// eyepiece.
std::vector<SceneCamera> Cameras() {
  std::vector<SceneCamera> cameras;
  SceneCamera probe;  // 640 x 480, the commonest field probe: soft, sharpened, gentle JPEG
  probe.name = "probe";
  probe.width_px = 640;
  probe.height_px = 480;
  probe.um_per_px = 0.62;
  probe.numerical_aperture = 0.35;
  probe.aberration_um = 0.3;
  probe.full_well_e = 9000;
  probe.read_noise_e = 14;
  probe.vignetting = 0.25;
  probe.gamma = 1.6;
  probe.sharpen = 0.6;
  probe.sharpen_radius_px = 1.2;
  probe.jpeg_quality = 90;
  cameras.push_back(probe);

  SceneCamera wide = probe;  // lower magnification: a fibre of a hundred pixels
  wide.name = "wide-probe";
  wide.um_per_px = 1.05;
  wide.numerical_aperture = 0.28;
  wide.sharpen = 0.9;
  wide.mask_diameter = 0.98;
  cameras.push_back(wide);

  SceneCamera interlaced = probe;  // analogue: pixels not square, rows torn, greenish
  interlaced.name = "grabber";
  interlaced.width_px = 720;
  interlaced.height_px = 576;
  interlaced.um_per_px = 0.52;
  interlaced.pixel_aspect = 0.94;
  interlaced.interlace_px = 0.3;
  interlaced.colour = ColourMode::kTinted;
  interlaced.tint_bgr = {0.82, 1.0, 0.86};
  interlaced.read_noise_e = 30;
  interlaced.jpeg_quality = 85;
  cameras.push_back(interlaced);

  SceneCamera bench;  // grey bench microscope, PNG
  bench.name = "bench";
  bench.width_px = 1280;
  bench.height_px = 960;
  bench.um_per_px = 0.27;
  bench.numerical_aperture = 0.45;
  bench.aberration_um = 0.1;
  cameras.push_back(bench);

  SceneCamera colour = bench;  // colour bench microscope, full HD JPEG
  colour.name = "colour-bench";
  colour.width_px = 1920;
  colour.height_px = 1080;
  colour.um_per_px = 0.24;
  colour.full_well_e = 8000;
  colour.read_noise_e = 6;
  colour.colour = ColourMode::kColour;
  colour.tint_bgr = {0.9, 1.0, 0.96};
  colour.gamma = 2.0;
  colour.sharpen = 0.4;
  colour.jpeg_quality = 92;
  cameras.push_back(colour);

  SceneCamera blue = bench;  // blue light for the finest detail
  blue.name = "blue-bench";
  blue.width_px = 1600;
  blue.height_px = 1200;
  blue.um_per_px = 0.2;
  blue.wavelength_um = 0.46;
  blue.numerical_aperture = 0.5;
  blue.colour = ColourMode::kTinted;
  blue.tint_bgr = {1.0, 0.62, 0.3};
  blue.jpeg_quality = 95;
  cameras.push_back(blue);

  SceneCamera large = colour;  // twelve million pixels, most of them empty magnification
  large.name = "large";
  large.width_px = 4000;
  large.height_px = 3000;
  large.um_per_px = 0.1;
  large.full_well_e = 5000;
  large.read_noise_e = 4;
  large.jpeg_quality = 88;
  cameras.push_back(large);

  SceneCamera phone = colour;  // a phone on an eyepiece
  phone.name = "phone";
  phone.width_px = 1600;
  phone.height_px = 1200;
  phone.um_per_px = 0.3;
  phone.numerical_aperture = 0.3;
  phone.aberration_um = 0.35;
  phone.vignetting = 0.5;
  phone.light_slope = 0.2;
  phone.tint_bgr = {0.75, 0.97, 1.0};
  phone.sharpen = 1.2;
  phone.sharpen_radius_px = 2.0;
  phone.gamma = 2.2;
  phone.mask_diameter = 1.05;
  phone.jpeg_quality = 80;
  cameras.push_back(phone);
  return cameras;
}

}  // namespace

std::vector<std::string> CameraNames() {
  std::vector<std::string> names;
  for (const SceneCamera& camera : Cameras()) names.push_back(camera.name);
  return names;
}

Result<SceneCamera> FindCamera(const std::string& name) {
  std::string known;
  for (const SceneCamera& camera : Cameras()) {
    if (camera.name == name) return camera;
    known += (known.empty() ? "" : ", ") + camera.name;
  }
  return Error{
      ErrorKind::kBadOption, "", 0, "camera \"" + name + "\" is not known", "Use one of " + known};
}

}  // namespace endgrade
