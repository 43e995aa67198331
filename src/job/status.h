// What is inspected, what is ready, what is still to do.
#pragma once

#include "job/log.h"
#include "job/plan.h"
#include "store/store.h"
#include "summary/faces.h"

#include <string>
#include <vector>

namespace endgrade::job {

// One photograph of a face.
struct Shot {
  summary::Attempt attempt;
  std::string who;
  std::string camera;    // in words
  std::string added_at;  // UTC
  std::string taken_from;
  std::string program;
  std::string limits_sha256;
  evidence::Settings settings;
  std::string overlay;  // its file, from the job's folder
};

enum class FaceState {
  kPass,
  kFail,         // clean and photograph again
  kRejected,     // still fails after as many cleanings as the limits allow
  kUngradable,   // photograph again
  kNotInspected  // no photograph
};
[[nodiscard]] const char* Word(FaceState state);  // "pass", "fail", "rejected", ...

struct FaceStatus {
  Face face;
  FaceState state = FaceState::kNotInspected;  // by the last photograph
  std::vector<Shot> shots;                     // by attempt
};

// A pair is ready only when every face of both sides passes.
enum class PortState { kReady, kNotReady, kToInspect };
[[nodiscard]] const char* Word(PortState state);  // "ready", "not ready", "to inspect"

struct PortStatus {
  Port port;
  PortState state = PortState::kToInspect;
  std::vector<FaceStatus> faces;  // by side, in the job file's order, then fibre
  std::vector<Attachment> attachments;
};

struct Status {
  std::vector<PortStatus> ports;   // in the job file's order
  std::vector<std::string> notes;  // photographs of what the job file no longer lists, ...
  std::size_t num_ready = 0;
  std::size_t num_not_ready = 0;
  std::size_t num_to_inspect = 0;
};

// Errors: of the store.
[[nodiscard]] Result<Status> StatusOf(const store::Store& store, const Plan& plan);

// The face that a row of a job's store is of.
[[nodiscard]] Face FaceOfRow(const store::Row& row);
// And the row's own way of saying it.
[[nodiscard]] store::Face RowFaceOf(const Face& face, const std::string& kind, int attempt);

// "overlays/.../<sha256>.jpg" of "photographs/.../<sha256>.png".
[[nodiscard]] std::string OverlayOf(const std::string& photograph);

// Schema "endgrade.job-status/1", one line.
[[nodiscard]] std::string StatusJson(const Plan& plan, const Status& status);

}  // namespace endgrade::job
