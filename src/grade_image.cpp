#include "endgrade/grade_image.h"

#include "core_under_scratches.h"
#include "detect/detect_in_turn.h"
#include "lay/drawn_lines.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <initializer_list>
#include <new>

namespace endgrade {
namespace {

class StopWatch {
 public:
  // Milliseconds since the last call.
  double Lap() {
    const auto now = Clock::now();
    const double lap_ms = std::chrono::duration<double, std::milli>(now - last_).count();
    last_ = now;
    return lap_ms;
  }

 private:
  using Clock = std::chrono::steady_clock;
  Clock::time_point last_ = Clock::now();
};

void Append(const std::vector<Reason>& from, std::vector<Reason>* to) {
  to->insert(to->end(), from.begin(), from.end());
}

// What is the camera's own is taken out; dirt that is no longer there stays out of it.
CameraUse FlattenWithCamera(const CameraProfile& camera,
                            const Frame& frame,
                            const FibreGeometry& fibre,
                            const Scale& scale,
                            const Limits& limits,
                            const FlattenOptions& options,
                            ZoneMap* zones,
                            ContrastMap* contrast) {
  CameraField field = FieldOf(camera, *zones, options.margin_um);
  *contrast = Flatten(frame, fibre, scale, *zones, options, &field);
  const auto gone = DirtThatIsGone(camera, *contrast);
  if (!gone.empty()) {
    field = FieldOf(camera, *zones, options.margin_um, gone);
    *contrast = Flatten(frame, fibre, scale, *zones, options, &field);
  }
  return UseCamera(camera, field, scale, limits, gone, zones);
}

// How much further out is looked where something that touches a zone reaches past the search: twice
// the largest size that a rule of the published limits names.
constexpr double kWiderMarginUm = 60.0;

// Whether a defect lies across the outermost zone's border and the search's. It counts whole.
bool ReachesPastSearch(const ContrastMap& contrast,
                       const ZoneMap& zones,
                       const std::vector<Region>& regions) {
  const double edge_um = 1.0 + 2.0 * contrast.blur_sigma_cells * contrast.um_per_cell;
  return std::any_of(regions.begin(), regions.end(), [&](const Region& region) {
    if (region.is_line) return false;  // a scratch's size is its width
    double nearest = contrast.outer_um;
    double farthest = 0;
    for (const cv::Point& cell : region.cells) {
      const auto radius = static_cast<double>(contrast.radius_um.at<float>(cell));
      nearest = std::min(nearest, radius);
      farthest = std::max(farthest, radius);
    }
    return nearest <= zones.outer_um && farthest >= contrast.outer_um - edge_um;
  });
}

Reason SayLeftOut() {
  return {"drawn_line",
          "A reticle is drawn into the picture, thinner than the lens can show anything: what lies "
          "beneath its lines is not seen. Switch it off before you take pictures."};
}

// The chain. Every step is a function from values to a value; read top to bottom.
Result<Grade> RunSteps(const Frame& picture,
                       const Limits& limits,
                       const GradeOptions& options,
                       Workings* workings) {
  StepTimes times;
  StopWatch watch;
  LocateOptions locate = options.locate;
  if (locate.core_diameters_um.empty()) {
    locate.core_diameters_um = limits.fibre.core_diameters_um;
  }
  auto located = LocateFibre(picture, locate);
  times.locate_ms = watch.Lap();
  if (!located.ok()) return located.error();
  if (!located->fibre) {
    Grade none = JudgeNoFibre(*located->reason, Quality{});
    none.times = times;
    none.times.total_ms = times.locate_ms;
    if (options.camera) {
      none.camera.emplace();
      none.camera->id = options.camera->id;
      none.camera->sha256 = options.camera->sha256;
    }
    return none;
  }
  FibreGeometry& fibre = *located->fibre;
  const CameraProfile* camera = options.camera.get();
  auto scale =
      SetScale(fibre, limits, camera ? WithCameraScale(*camera, options.scale) : options.scale);
  if (!scale.ok()) return scale.error();
  ZoneMap zones = LayZones(picture.luma.size(), *scale, limits);
  const auto lines = FindDrawnLines(picture, zones.roi_px, {fibre.blur_fwhm_px, scale->um_per_px});
  Frame frame = picture;
  if (!lines.empty()) frame.luma = WithoutLines(picture.luma, lines);
  HideFieldStop(frame, *scale, &zones);
  HidePictureFrame(frame, &zones);
  times.lay_ms = watch.Lap();
  std::optional<CameraUse> use;
  ContrastMap contrast;
  FlattenOptions flattening = options.flatten;
  const ZoneMap laid = zones;
  const auto flatten = [&] {
    zones = laid;  // a camera's dirt takes from what is in view, each time
    if (camera) {
      use = FlattenWithCamera(*camera, frame, fibre, *scale, limits, flattening, &zones, &contrast);
    } else {
      contrast = Flatten(frame, fibre, *scale, zones, flattening);
    }
  };
  flatten();
  times.flatten_ms = watch.Lap();
  Detection detection;
  // Whether something reaches past the search. Where that is known early and leads to another look,
  // what is found last is not looked for.
  const auto reaches_past = [&] {
    detection = DetectMarks(contrast, options.detect);
    if (ReachesPastSearch(contrast, zones, detection.regions)) return true;
    AddLastFound(contrast, &detection);
    return ReachesPastSearch(contrast, zones, detection.regions);
  };
  const auto look_wider = [&] {
    flattening.margin_um = std::max(flattening.margin_um, kWiderMarginUm);
    flatten();
    detection = DetectRegions(contrast, options.detect);
  };
  const bool wide = reaches_past();
  const auto core = CoreUnderScratches(fibre, contrast, detection.regions);
  if (core) fibre.core = core;
  if (wide) {
    look_wider();
  } else if (core) {
    flatten();
    // With another core something else may reach past.
    if (reaches_past()) look_wider();
  }
  times.detect_ms = watch.Lap();
  std::vector<Feature> features =
      MeasureFeatures(frame, contrast, *scale, limits, detection.regions);
  MarkBesideHidden(contrast, &features);
  times.measure_ms = watch.Lap();
  Sight sight = AssessSight(
      {frame, fibre, *scale, zones, contrast, detection, options.detect, limits}, options.sight);
  if (use) Append(use->problems, &sight.quality.problems);
  Grade grade = Judge(fibre,
                      *scale,
                      std::move(features),
                      std::move(sight.zones),
                      std::move(sight.quality),
                      limits,
                      options.judge);
  if (!lines.empty()) grade.warnings.push_back(SayLeftOut());
  if (use) Append(use->warnings, &grade.warnings);
  grade.camera = std::move(use);
  times.judge_ms = watch.Lap();
  times.total_ms = times.locate_ms + times.lay_ms + times.flatten_ms + times.detect_ms +
                   times.measure_ms + times.judge_ms;
  grade.times = times;
  if (workings) *workings = {std::move(zones), std::move(contrast), std::move(detection)};
  return grade;
}

}  // namespace

std::optional<std::string> GradeOptions::Problem() const {
  for (const auto& problem : {read.Problem(),
                              locate.Problem(),
                              scale.Problem(),
                              flatten.Problem(),
                              detect.Problem(),
                              sight.Problem(),
                              judge.Problem()}) {
    if (problem) return problem;
  }
  return std::nullopt;
}

Result<Grade> GradeFrame(const Frame& frame,
                         const Limits& limits,
                         const GradeOptions& options,
                         Workings* workings) {
  if (workings) *workings = {};
  if (auto problem = options.Problem()) {
    return Error{ErrorKind::kBadOption, "", 0, *problem, ""};
  }
  if (options.camera) {
    if (auto mismatch = CameraMismatch(*options.camera, frame)) return *mismatch;
  }
  const std::string name = frame.path.string();
  try {
    return RunSteps(frame, limits, options, workings);
  } catch (const std::bad_alloc&) {
    return Error{ErrorKind::kOutOfMemory,
                 name,
                 0,
                 "not enough memory to grade this picture",
                 "Close other programs or use a smaller picture"};
  } catch (const cv::Exception& e) {
    if (e.code == cv::Error::StsNoMem) {
      return Error{ErrorKind::kOutOfMemory,
                   name,
                   0,
                   "not enough memory to grade this picture",
                   "Close other programs or use a smaller picture"};
    }
    return Error{ErrorKind::kInternal,
                 name,
                 0,
                 "the picture library refused: " + e.err,
                 "Please report this with the picture"};
  }
}

}  // namespace endgrade
