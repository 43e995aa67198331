// A picture in memory -> the bytes of a file. The same picture gives the same bytes.
#pragma once

#include "endgrade/result.h"

#include <opencv2/core.hpp>

#include <cstddef>
#include <filesystem>
#include <string>

namespace endgrade {

// Under this word a PNG keeps the text that it carries (an iTXt chunk before the pixels).
inline constexpr const char* kEvidenceWord = "endgrade.evidence";

// A JPEG keeps it in comments (COM) of at most 65,533 bytes each. Every one begins with a head line
// "endgrade.evidence/1 k/n <SHA-256 of the whole text>\n"; the texts behind the heads, in the order
// of k, are the whole.
[[nodiscard]] std::string EvidenceHead(std::size_t k, std::size_t n, const std::string& sha256);
inline constexpr std::size_t kMostCommentBytes = 65'533;

// PNG. Rows are stored as differences from the row above, and packed by libdeflate at its quickest
// level: 20 ms for 1920 x 1080 where zlib takes 50, and smaller.
//
//   picture   CV_8UC1 or CV_16UC1 grey, CV_8UC3 blue-green-red; not empty
//   evidence  UTF-8 that the file carries beside the picture; empty: none
//   errors    kUnsupported for any other type or size, kInternal, kOutOfMemory
[[nodiscard]] Result<std::string> EncodePng(const cv::Mat& picture,
                                            const std::string& evidence = "");

constexpr int kOverlayQuality = 92;

// JPEG, colour at full resolution so that thin coloured lines stay sharp.
//
//   quality   1 to 100
//   picture   CV_8UC1 or CV_8UC3, at most 65,500 pixels a side; not empty
//   errors    as above
[[nodiscard]] Result<std::string> EncodeJpeg(const cv::Mat& picture,
                                             int quality = kOverlayQuality,
                                             const std::string& evidence = "");

// Either, by the name's ending (.png, .jpg, .jpeg). Errors: kUnsupported also for other endings.
[[nodiscard]] Result<std::string> EncodePicture(const std::filesystem::path& name,
                                                const cv::Mat& picture,
                                                const std::string& evidence = "");

}  // namespace endgrade
