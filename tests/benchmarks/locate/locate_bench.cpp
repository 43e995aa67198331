// How far located centres, cladding and core radii are from the truth of rendered pictures, by
// camera, and whether the stated uncertainties cover the errors.
//
//   locate_bench DIR...     folders of `endgrade render`, or of tests/support/second_renderer
//
// One line a picture whose error is larger than stated or whose fibre is missed or made up, then a
// table. Pictures that the truth calls not gradable count only where there is no fibre in them.
// What it does not show: photographs. Both renderers assume that a cladding is an ellipse.
#include "endgrade/locate.h"
#include "endgrade/read.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace {

using Json = nlohmann::json;
namespace fs = std::filesystem;

struct Case {
  fs::path picture;
  std::string camera;
  bool fibre = false;
  bool gradable = false;
  std::string ring;  // what surrounds the glass
  cv::Point2d centre_px;
  double radius_px = 0;
  double um_per_px = 1;
  std::optional<double> core_radius_px;
};

struct Errors {
  std::vector<double> centre_um, diameter_percent, core_um, cpu_ms;
  int num_gradable = 0, num_missed = 0, num_empty = 0, num_made_up = 0;
  int centre_covered = 0, radius_covered = 0;
};

std::vector<Case> OfFirstRenderer(const fs::path& folder) {
  std::vector<Case> cases;
  for (const auto& entry : fs::directory_iterator(folder)) {
    const std::string name = entry.path().filename().string();
    const size_t cut = name.find(".truth.json");
    if (cut == std::string::npos) continue;
    const Json truth = Json::parse(std::ifstream(entry.path()));
    Case each;
    for (const char* extension : {".png", ".jpg"}) {
      const fs::path picture = folder / (name.substr(0, cut) + extension);
      if (fs::exists(picture)) each.picture = picture;
    }
    each.camera = truth["scene"]["camera"]["name"];
    each.ring = truth["scene"]["face"]["adhesive"];
    each.fibre = !truth["cladding"].is_null();
    each.gradable = truth["gradable"] == "yes";
    if (each.fibre) {
      const auto mean = [](const Json& ellipse) {
        return std::sqrt(ellipse["semi_axes_px"][0].get<double>() *
                         ellipse["semi_axes_px"][1].get<double>());
      };
      each.centre_px = {truth["centre_px"][0], truth["centre_px"][1]};
      each.radius_px = mean(truth["cladding"]);
      each.um_per_px = truth["um_per_px"];
      if (!truth["core"].is_null()) each.core_radius_px = mean(truth["core"]);
    }
    cases.push_back(each);
  }
  return cases;
}

std::vector<Case> OfSecondRenderer(const fs::path& folder) {
  std::vector<Case> cases;
  for (const Json& row : Json::parse(std::ifstream(folder / "truth.json"))) {
    Case each;
    each.picture = folder / row["file"].get<std::string>();
    each.camera = row.value("style", "?");
    each.fibre = row.value("has_fibre", false);
    each.gradable = row.value("gradable", false);
    if (each.fibre) {
      each.centre_px = {row["centre_px"][0], row["centre_px"][1]};
      each.radius_px = 0.5 * row["cladding_diameter_px"].get<double>();
      each.um_per_px = row["um_per_px"];
    }
    cases.push_back(each);
  }
  return cases;
}

double CpuMs() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return 1e3 * static_cast<double>(now.tv_sec) + 1e-6 * static_cast<double>(now.tv_nsec);
}

double Quantile(std::vector<double> values, double share) {
  if (values.empty()) return std::nan("");
  std::sort(values.begin(), values.end());
  const double place = share * static_cast<double>(values.size() - 1);
  const auto low = static_cast<size_t>(place);
  const size_t high = std::min(low + 1, values.size() - 1);
  return values[low] + (place - static_cast<double>(low)) * (values[high] - values[low]);
}

struct Measured {
  double centre_um = 0, diameter_percent = 0, core_um = 0;
  bool has_core = false, centre_covered = false, radius_covered = false;
};

Measured Measure(const Case& each, const endgrade::FibreGeometry& found) {
  const cv::Point2d off = found.cladding.centre_px - each.centre_px;
  const double radius_off = found.cladding.MeanRadius() - each.radius_px;
  Measured measured;
  measured.centre_um = std::hypot(off.x, off.y) * each.um_per_px;
  measured.diameter_percent = 100.0 * radius_off / each.radius_px;
  measured.centre_covered =
      std::max(std::abs(off.x), std::abs(off.y)) <= found.centre_uncertainty_px;
  measured.radius_covered = std::abs(radius_off) <= found.cladding_radius_uncertainty_px;
  if (found.core && each.core_radius_px) {
    measured.has_core = true;
    measured.core_um = (found.core->MeanRadius() - *each.core_radius_px) * each.um_per_px;
  }
  const char* beyond = measured.centre_covered && measured.radius_covered ? "within" : "BEYOND";
  std::printf(
      "%s %s %s %s: centre %.3f um (%.3f, %.3f px; stated %.3f), diameter %+.3f %% (radius "
      "%+.3f px; stated %.3f), core %+.2f um\n",
      each.picture.filename().c_str(),
      each.camera.c_str(),
      each.ring.c_str(),
      beyond,
      measured.centre_um,
      off.x,
      off.y,
      found.centre_uncertainty_px,
      measured.diameter_percent,
      radius_off,
      found.cladding_radius_uncertainty_px,
      measured.core_um);
  return measured;
}

void Add(const Measured& measured, Errors* errors) {
  errors->centre_um.push_back(measured.centre_um);
  errors->diameter_percent.push_back(std::abs(measured.diameter_percent));
  if (measured.has_core) errors->core_um.push_back(std::abs(measured.core_um));
  errors->centre_covered += measured.centre_covered ? 1 : 0;
  errors->radius_covered += measured.radius_covered ? 1 : 0;
}

void Run(const Case& each, std::map<std::string, Errors>* table) {
  if (each.fibre && !each.gradable) return;
  const auto frame = endgrade::ReadFrame(each.picture);
  if (!frame.ok()) {
    std::printf("%s\n", frame.error().Text().c_str());
    return;
  }
  const double start = CpuMs();
  const auto outcome = endgrade::LocateFibre(*frame);
  const double spent = CpuMs() - start;
  if (!outcome.ok()) {
    std::printf("%s\n", outcome.error().Text().c_str());
    return;
  }
  const bool found = outcome->fibre.has_value();
  std::optional<Measured> measured;
  if (found && each.fibre) measured = Measure(each, *outcome->fibre);
  if (found != each.fibre) {
    std::printf("%s: %s\n", each.picture.filename().c_str(), found ? "MADE UP" : "MISSED");
  }
  for (const std::string& name : {each.camera, std::string("~all")}) {
    Errors* errors = &(*table)[name];
    errors->cpu_ms.push_back(spent);
    errors->num_gradable += each.fibre ? 1 : 0;
    errors->num_empty += each.fibre ? 0 : 1;
    errors->num_missed += each.fibre && !found ? 1 : 0;
    errors->num_made_up += !each.fibre && found ? 1 : 0;
    if (measured) Add(*measured, errors);
  }
}

void PrintRow(const std::string& name, const Errors& errors) {
  const auto count = std::max(1.0, static_cast<double>(errors.centre_um.size()));
  std::printf(
      "%-16s %5d %6d %5d %7d  %5.3f %6.3f  %6.3f %6.3f  %5.2f %5.2f  %7.1f %8.1f  %5.1f %5.1f\n",
      name.c_str(),
      errors.num_gradable,
      errors.num_missed,
      errors.num_empty,
      errors.num_made_up,
      Quantile(errors.centre_um, 0.5),
      Quantile(errors.centre_um, 0.95),
      Quantile(errors.diameter_percent, 0.5),
      Quantile(errors.diameter_percent, 0.95),
      Quantile(errors.core_um, 0.5),
      Quantile(errors.core_um, 0.95),
      100.0 * errors.centre_covered / count,
      100.0 * errors.radius_covered / count,
      Quantile(errors.cpu_ms, 0.5),
      Quantile(errors.cpu_ms, 0.95));
}

}  // namespace

int main(int argc, char** argv) {
  std::map<std::string, Errors> table;
  for (int i = 1; i < argc; ++i) {
    const fs::path folder = argv[i];
    auto cases =
        fs::exists(folder / "truth.json") ? OfSecondRenderer(folder) : OfFirstRenderer(folder);
    std::sort(cases.begin(), cases.end(), [](const Case& a, const Case& b) {
      return a.picture < b.picture;
    });
    for (const Case& each : cases) Run(each, &table);
  }
  std::printf(
      "\n%-16s %5s %6s %5s %7s  %12s  %13s  %11s  %16s  %11s\n%43s"
      "%12s  %13s  %11s  %16s  %11s\n",
      "camera",
      "fibre",
      "missed",
      "empty",
      "made up",
      "centre, um",
      "diameter, %",
      "core, um",
      "covered, %",
      "CPU, ms",
      "",
      "50%    95%",
      "50%    95%",
      "50%   95%",
      "centre  diameter",
      "50%   95%");
  for (const auto& [name, errors] : table) PrintRow(name, errors);
}
