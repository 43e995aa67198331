// Start here: one photograph in, one grade out.
//
//   auto limits = endgrade::FindLimits("sm-upc");
//   auto frame = endgrade::ReadFrame("port-07.jpg");
//   if (!limits.ok() || !frame.ok()) ...
//   auto grade = endgrade::GradeFrame(*frame, *limits);
//   if (grade.ok() && grade->verdict == endgrade::Verdict::kPass) ...
#pragma once

#include "endgrade/camera.h"
#include "endgrade/detect.h"
#include "endgrade/flatten.h"
#include "endgrade/frame.h"
#include "endgrade/judge.h"
#include "endgrade/lay.h"
#include "endgrade/limits.h"
#include "endgrade/locate.h"
#include "endgrade/measure.h"
#include "endgrade/read.h"
#include "endgrade/result.h"
#include "endgrade/scale.h"
#include "endgrade/sight.h"

#include <memory>

namespace endgrade {

struct GradeOptions {
  ReadOptions read;
  LocateOptions locate;
  ScaleOptions scale;
  FlattenOptions flatten;
  DetectOptions detect;
  SightOptions sight;
  JudgeOptions judge;

  // What is known of the camera; null: nothing. Shared: many pictures are graded with one.
  std::shared_ptr<const CameraProfile> camera;

  // The first option that is outside its range, in words; nothing if all are well.
  [[nodiscard]] std::optional<std::string> Problem() const;
};

// What the steps found on the way to a grade, for those who ask why (explain.h). All empty when no
// fibre was found.
struct Workings {
  ZoneMap zones;
  ContrastMap contrast;
  Detection detection;
};

// The whole chain on a frame in memory. Same frame, limits and build: same grade (but for times).
// Errors: kBadOption (also for a camera profile of another picture size), kUnsupported,
// kOutOfMemory, kInternal. A picture that cannot be graded is a normal value with verdict
// kUngradable.
//
//   workings  filled when it is not null; costs no time but the memory is kept
[[nodiscard]] Result<Grade> GradeFrame(const Frame& frame,
                                       const Limits& limits,
                                       const GradeOptions& options = {},
                                       Workings* workings = nullptr);

}  // namespace endgrade
