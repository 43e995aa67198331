// TIFF and BMP, by OpenCV, from a module that is loaded when the first of them is met.
#pragma once

#include "endgrade/frame.h"
#include "endgrade/read.h"
#include "endgrade/result.h"

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace endgrade::read {

// Where the module is looked for, in order: the folder that ENDGRADE_MODULES names, and nowhere
// else, or the library folder beside the running program, that of the build, that of the install.
[[nodiscard]] std::vector<std::filesystem::path> ModuleFolders();

// The pixels of a file whose header has been checked: CV_8U or CV_16U with 1, 3 or 4 channels.
//
//   kind      "TIFF" or "BMP", for the words of errors
//   errors    kUnsupported where there is no module; kCorrupt where it cannot decode the file
[[nodiscard]] Result<cv::Mat> DecodeRaster(std::string_view bytes, const std::string& kind);

// Upright, without path and digest.
[[nodiscard]] Result<Frame> DecodeTiff(std::string_view bytes, const ReadOptions& options);
[[nodiscard]] Result<Frame> DecodeBmp(std::string_view bytes, const ReadOptions& options);

}  // namespace endgrade::read
