// What a person and a machine read: overlay, record, verdict in words. Files are written to a
// temporary name beside the target, flushed, then renamed: nothing half-written has a final name.
#pragma once

#include "endgrade/frame.h"
#include "endgrade/judge.h"
#include "endgrade/limits.h"
#include "endgrade/result.h"

#include <opencv2/core.hpp>

#include <filesystem>
#include <optional>
#include <string>

namespace endgrade {

// One line of JSON, schema "endgrade.result/1", keys in the order of design.md, no newline at the
// end. The same grade gives the same bytes but for timing_ms.
[[nodiscard]] std::string RecordJson(const Frame& frame, const Limits& limits, const Grade& grade);

// The record of a file that could not be read: verdict "ungradable", reason "unreadable", no
// fibres; so that every input has its line.
[[nodiscard]] std::string UnreadableRecordJson(const std::filesystem::path& path,
                                               const Limits& limits,
                                               const Error& error);

// The verdict for a terminal: a line with name and verdict, then a line a reason. No control
// characters from the name or any text pass through.
[[nodiscard]] std::string VerdictText(const Frame& frame, const Limits& limits, const Grade& grade);

struct OverlayOptions {
  // The photograph is enlarged by a whole number until its longer side has at least this many
  // pixels, so that thin outlines stay readable. Range [1, 8192].
  int min_long_side_px = 1400;
  // And reduced when its longer side has more than this. Range [200, 20000].
  int max_long_side_px = 2600;
};

// The photograph with rings, outlines and numbers, and a strip below it with verdict, reasons and
// a scale bar. CV_8UC3, blue-green-red. Uses frame.colour if there is any, else luma.
[[nodiscard]] cv::Mat DrawOverlay(const Frame& frame,
                                  const Limits& limits,
                                  const Grade& grade,
                                  const OverlayOptions& options = {});

// Encodes by the extension (.png, .jpg) and writes safely. Errors: kWriteFailed, kUnsupported.
[[nodiscard]] std::optional<Error> WritePicture(const std::filesystem::path& path,
                                                const cv::Mat& picture);

// Writes bytes to a temporary name, flushes, renames. Errors: kWriteFailed.
[[nodiscard]] std::optional<Error> WriteFileSafely(const std::filesystem::path& path,
                                                   const std::string& bytes);

}  // namespace endgrade
