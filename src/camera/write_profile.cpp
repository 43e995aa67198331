#include "endgrade/camera.h"
#include "endgrade/version.h"

#include <cmath>
#include <cstdio>

namespace endgrade {
namespace {

// As many digits as it takes and no exponent: read by people first.
std::string Number(double value, int decimals) {
  char text[64];
  std::snprintf(text, sizeof text, "%.*f", decimals, value);
  std::string out = text;
  const auto last = out.find_last_not_of('0');
  out.erase(out[last] == '.' ? last + 2 : last + 1);
  return out == "-0.0" ? "0.0" : out;
}

std::string Line(const std::string& key,
                 const std::string& value,
                 const std::string& comment = "") {
  std::string text = key + " = " + value;
  if (!comment.empty())
    text += std::string(text.size() < 34 ? 34 - text.size() : 0, ' ') + "  # " + comment;
  return text + "\n";
}

std::string Pair(double a, double b, int decimals) {
  return "[" + Number(a, decimals) + ", " + Number(b, decimals) + "]";
}

std::string Head(const CameraProfile& p) {
  std::string text =
      "# What is known of one camera; made by `endgrade camera learn` (endgrade " + Version() +
      ").\n"
      "# Use: endgrade grade --camera THIS-FILE ...   Uncertainties are expanded (k = 2).\n"
      "# Learn it again when the camera, its magnification or its picture size changes, and after\n"
      "# its optics were cleaned.\n\n";
  text += Line("schema", "\"endgrade.camera/1\"");
  text += Line("id", "\"" + p.id + "\"");
  text += "\n[picture]\n";
  text += Line("width_px", std::to_string(p.picture_px.width));
  text += Line("height_px", std::to_string(p.picture_px.height));
  text += "\n[learnt_from]\n";
  text += Line("num_pictures", std::to_string(p.num_pictures));
  text += Line("num_positions", std::to_string(p.num_positions), "places of the fibre, well apart");
  text += Line("largest_move_px", Number(p.largest_move_px, 1));
  return text;
}

std::string ScaleTable(const CameraProfile& p) {
  const bool target = p.scale_source == CameraScaleSource::kTarget;
  std::string text = "\n[scale]\n";
  text += Line("source", target ? "\"target\"" : "\"claddings\"");
  text += Line("um_per_px", Number(p.um_per_px.value, 6), "mean of both axes");
  text += Line("um_per_px_uncertainty",
               Number(p.um_per_px.uncertainty, 6),
               target ? "the target's pitch and how its lines lie"
                      : "the cladding's tolerance, which many pictures do not lessen");
  text += Line("um_per_px_scatter",
               Number(p.um_per_px_scatter, 6),
               "standard deviation, picture to picture, by the claddings");
  text += Line("pixel_aspect", Number(p.pixel_aspect.value, 5), "um a pixel along y over x");
  text += Line("pixel_aspect_uncertainty",
               Number(p.pixel_aspect.uncertainty, 5),
               "taken as 1 where 1 is within it");
  text += "\n[blur]\n";
  text += Line("sigma_um",
               Number(p.blur_sigma_um.value, 3),
               "Gaussian that blurs the cladding's rim as much");
  text += Line("sigma_um_uncertainty", Number(p.blur_sigma_um.uncertainty, 3));
  return text;
}

std::string LightTables(const CameraProfile& p) {
  std::string text;
  if (p.noise) {
    text += "\n[noise]  # variance of a pixel = offset + slope * level, grey levels\n";
    text += Line("offset", Number(p.noise->offset, 5));
    text += Line("slope", Number(p.noise->slope, 6));
    text += Line("slope_known",
                 p.noise->slope_known ? "true" : "false",
                 p.noise->slope_known ? "" : "the pictures were all of one brightness");
  }
  if (p.flat) {
    text += "\n[flat_field]  # brightness = exp(sum), x and y from -1 to 1 along the longer side\n";
    const auto& c = p.flat->coefficients;
    const char* names[] = {"x", "y", "x2_minus_y2", "xy", "r2", "r4"};
    for (std::size_t i = 0; i < c.size(); ++i) text += Line(names[i], Number(c[i], 6));
  }
  return text;
}

std::string DirtTable(const FixedDirt& dirt) {
  std::string text = "\n[[dirt]]\n";
  text += Line("centre_px", Pair(dirt.centre_px.x, dirt.centre_px.y, 1));
  text += Line("diameter_px", Number(dirt.diameter_px, 1));
  text += Line("transmission", Number(dirt.transmission, 4), "of light, where it is strongest");
  if (!dirt.divided) {
    text += Line("use", "\"hide\"", "nothing on the face is seen there");
    text += "outline_px = [";
    for (std::size_t i = 0; i < dirt.outline_px.size(); ++i) {
      const cv::Point& p = dirt.outline_px[i];
      text += (i ? ", [" : "[") + std::to_string(p.x) + ", " + std::to_string(p.y) + "]";
    }
    return text + "]\n";
  }
  text += Line("use", "\"divide\"", "a soft shadow: what is in focus shows through it");
  text += Line("grid_origin_px", Pair(dirt.grid_origin_px.x, dirt.grid_origin_px.y, 1));
  text += Line("grid_step_px", Number(dirt.grid_step_px, 1));
  text += "grid = [  # transmission, row by row\n";
  for (int y = 0; y < dirt.grid.rows; ++y) {
    text += "  [";
    for (int x = 0; x < dirt.grid.cols; ++x) {
      text += (x ? ", " : "") + Number(static_cast<double>(dirt.grid.at<float>(y, x)), 4);
    }
    text += "],\n";
  }
  return text + "]\n";
}

}  // namespace

std::string CameraProfileToml(const CameraProfile& profile) {
  std::string text = Head(profile) + ScaleTable(profile) + LightTables(profile);
  text += "\n[fixed_dirt]\n";
  text += Line("known",
               profile.dirt_known ? "true" : "false",
               profile.dirt_known ? "each piece is a [[dirt]] below"
                                  : "the fibre did not move enough to tell dirt on the optics");
  for (const FixedDirt& dirt : profile.dirt) text += DirtTable(dirt);
  return text;
}

}  // namespace endgrade
