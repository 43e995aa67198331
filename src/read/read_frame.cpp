#include "core/sha256.h"
#include "endgrade/read.h"
#include "read/errors.h"
#include "read/file_bytes.h"
#include "read/file_kind.h"
#include "read/jpeg.h"
#include "read/png.h"
#include "read/raster_module.h"

#include <new>
#include <utility>

namespace endgrade {
namespace {

constexpr std::int64_t kMostPixels = 1'000'000'000;
constexpr std::int64_t kMostFileBytes = 4ll * 1024 * 1024 * 1024;

Error NoMemory() {
  return {ErrorKind::kOutOfMemory,
          "",
          0,
          "not enough memory for this picture",
          "Close other programs, or crop it to the end face"};
}

Result<Frame> DecodeByKind(std::string_view bytes, const ReadOptions& options) {
  const read::KindOfFile kind = read::TellKind(bytes);
  switch (kind.kind) {
    case read::FileKind::kJpeg:
      return read::DecodeJpeg(bytes, options);
    case read::FileKind::kPng:
      return read::DecodePng(bytes, options);
    case read::FileKind::kTiff:
      return read::DecodeTiff(bytes, options);
    case read::FileKind::kBmp:
      return read::DecodeBmp(bytes, options);
    case read::FileKind::kOther:
      break;
  }
  if (kind.words.empty()) return read::Unsupported("not a picture of a kind we know");
  return read::Unsupported("this is " + kind.words + ", and JPEG, PNG, TIFF and BMP are read");
}

// The one place where running out of memory becomes this picture's error.
Result<Frame> DecodeWithinMemory(std::string_view bytes, const ReadOptions& options) {
  try {
    return DecodeByKind(bytes, options);
  } catch (const std::bad_alloc&) {
    return NoMemory();
  } catch (const cv::Exception& e) {
    if (e.code == cv::Error::StsNoMem) return NoMemory();
    throw;
  }
}

Result<Frame> WithFile(Result<Frame> frame, const std::filesystem::path& name) {
  if (frame.ok()) {
    frame->path = name;
    return frame;
  }
  Error error = frame.error();
  error.file = name.string();
  return error;
}

}  // namespace

std::optional<std::string> ReadOptions::Problem() const {
  if (max_pixels < 1 || max_pixels > kMostPixels) {
    return "ReadOptions.max_pixels = " + std::to_string(max_pixels) + ": must be within [1, 1e9]";
  }
  if (max_file_bytes < 1 || max_file_bytes > kMostFileBytes) {
    return "ReadOptions.max_file_bytes = " + std::to_string(max_file_bytes) +
           ": must be within [1, 4294967296]";
  }
  return std::nullopt;
}

Result<Frame> DecodeFrame(std::string_view bytes,
                          const std::filesystem::path& name,
                          const ReadOptions& options) {
  if (auto problem = options.Problem()) {
    return Error{ErrorKind::kBadOption, "", 0, std::move(*problem), ""};
  }
  if (bytes.empty()) return WithFile(read::Damaged("the file is empty"), name);
  auto frame = DecodeWithinMemory(bytes, options);
  if (frame.ok()) frame->sha256 = Sha256Hex(bytes);
  return WithFile(std::move(frame), name);
}

Result<Frame> ReadFrame(const std::filesystem::path& path, const ReadOptions& options) {
  if (auto problem = options.Problem()) {
    return Error{ErrorKind::kBadOption, "", 0, std::move(*problem), ""};
  }
  try {
    auto bytes = read::ReadFileBytes(path, options.max_file_bytes);
    if (!bytes.ok()) return WithFile(bytes.error(), path);
    return DecodeFrame(*bytes, path, options);
  } catch (const std::bad_alloc&) {
    return WithFile(NoMemory(), path);
  }
}

}  // namespace endgrade
