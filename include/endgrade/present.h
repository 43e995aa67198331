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

// One line of JSON, no newline; schema "endgrade.result/1",
// tests/cli/endgrade.result-1.schema.json. Numbers have fixed decimals (um 3, pixels 2, um a pixel
// 6); what was not measured, and what is no number, is null; bytes of a name that are not UTF-8
// become U+FFFD. The same grade gives the same bytes but for timing_ms.
//
//   limits    those that the grade was made with: zones and rules are found in them by index
[[nodiscard]] std::string RecordJson(const Frame& frame, const Limits& limits, const Grade& grade);

// The record of a file that could not be read: verdict "ungradable", reason "unreadable", no
// fibres; so that every input has its line.
[[nodiscard]] std::string UnreadableRecordJson(const std::filesystem::path& path,
                                               const Limits& limits,
                                               const Error& error);

// The verdict for a terminal: a line with name and verdict, then a line a reason and a warning, no
// newline at the end. No control characters from the name or any text pass through.
[[nodiscard]] std::string VerdictText(const Frame& frame, const Limits& limits, const Grade& grade);

// Values outside their range are taken as the nearest within it.
struct OverlayOptions {
  // The photograph is enlarged by a whole number, each pixel repeated, until its longer side has at
  // least this many pixels, so that thin outlines stay readable. Range [1, 8192].
  int min_long_side_px = 1400;
  // And reduced, pixels averaged, when its longer side has more than this; it is never enlarged
  // beyond it. Range [200, 20000].
  int max_long_side_px = 2600;
};

// The photograph with rings, outlines and numbers, and a strip below it with verdict, reasons and
// a scale bar. Outlines, rings and numbers stand beside features, never on them, but for the
// outline of a feature that lies on a larger one. The same frame and grade give the same pixels;
// nothing in it tells the time.
//
//   frame     colour is shown if there is any, else luma (16 bits by white_level); not written to.
//             With no pixels at all the strip stands alone.
//   limits    those that the grade was made with
//   returns   CV_8UC3, blue-green-red, as wide as the photograph is shown but no less than 1,040
//             pixels; the strip is about a fifth as high as that
[[nodiscard]] cv::Mat DrawOverlay(const Frame& frame,
                                  const Limits& limits,
                                  const Grade& grade,
                                  const OverlayOptions& options = {});

// Encodes by the extension (.png, .jpg, .jpeg) and writes safely.
//
//   picture   CV_8UC1 or CV_8UC3 (blue-green-red); CV_16UC1 for PNG only
//   evidence  UTF-8 that the file carries inside: a PNG in an iTXt chunk, a JPEG in comments
//   errors    kWriteFailed, kUnsupported, kInternal
[[nodiscard]] std::optional<Error> WritePicture(const std::filesystem::path& path,
                                                const cv::Mat& picture,
                                                const std::string& evidence = "");

// Writes bytes to a temporary name in the target's folder, flushes, renames: the target is as it
// was or whole. A link is replaced, not followed; a device, pipe or socket is refused.
//
//   errors    kWriteFailed, with what to do about it
[[nodiscard]] std::optional<Error> WriteFileSafely(const std::filesystem::path& path,
                                                   const std::string& bytes);

}  // namespace endgrade
