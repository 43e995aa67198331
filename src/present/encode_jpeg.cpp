#include "core/sha256.h"
#include "present/encode.h"

// jpeglib.h needs size_t and FILE of the one before it.
#include <cstdio>
//
#include <jpeglib.h>

#include <algorithm>
#include <csetjmp>
#include <jerror.h>
#include <memory>
#include <new>
#include <vector>

namespace endgrade {
namespace {

struct JpegErrors {
  jpeg_error_mgr manager{};
  std::jmp_buf on_error{};
  char message[JMSG_LENGTH_MAX] = {};
};

[[noreturn]] void JumpOut(j_common_ptr jpeg) {
  auto* errors = reinterpret_cast<JpegErrors*>(jpeg->err);
  jpeg->err->format_message(jpeg, errors->message);
  std::longjmp(errors->on_error, 1);  // NOLINT(cert-err52-cpp): libjpeg's way to report
}

// The comments' bytes, made before libjpeg may jump.
std::vector<std::string> CommentsOf(const std::string& evidence) {
  constexpr std::size_t kMostHeadBytes = 128;
  constexpr std::size_t kPiece = kMostCommentBytes - kMostHeadBytes;
  std::vector<std::string> comments;
  if (evidence.empty()) return comments;
  const std::string sha256 = Sha256Hex(evidence);
  const std::size_t n = (evidence.size() + kPiece - 1) / kPiece;
  for (std::size_t k = 0; k < n; ++k) {
    comments.push_back(EvidenceHead(k + 1, n, sha256) + evidence.substr(k * kPiece, kPiece));
  }
  return comments;
}

void Compress(const cv::Mat& picture,
              int quality,
              const std::vector<std::string>& comments,
              jpeg_compress_struct* jpeg) {
  const bool colour = picture.channels() == 3;
  jpeg->image_width = static_cast<JDIMENSION>(picture.cols);
  jpeg->image_height = static_cast<JDIMENSION>(picture.rows);
  jpeg->input_components = colour ? 3 : 1;
  jpeg->in_color_space = colour ? JCS_EXT_BGR : JCS_GRAYSCALE;
  jpeg_set_defaults(jpeg);
  jpeg_set_quality(jpeg, quality, TRUE);
  jpeg->comp_info[0].h_samp_factor = 1;
  jpeg->comp_info[0].v_samp_factor = 1;
  jpeg_start_compress(jpeg, TRUE);
  for (const std::string& comment : comments) {
    jpeg_write_marker(jpeg,
                      JPEG_COM,
                      reinterpret_cast<const JOCTET*>(comment.data()),
                      static_cast<unsigned int>(comment.size()));
  }
  while (jpeg->next_scanline < jpeg->image_height) {
    auto* row = const_cast<JSAMPROW>(picture.ptr(static_cast<int>(jpeg->next_scanline)));
    jpeg_write_scanlines(jpeg, &row, 1);
  }
  jpeg_finish_compress(jpeg);
}

// No picture takes more, so that the buffer never has to grow: libjpeg-turbo's own bound for full
// colour resolution, six bytes a pixel of whole blocks and 2,048 (turbojpeg.h, tjBufSize).
std::size_t MostBytes(const cv::Mat& picture) {
  const auto padded = [](int side) { return (static_cast<std::size_t>(side) + 15) / 16 * 16; };
  return padded(picture.cols) * padded(picture.rows) * 6 + 2048;
}

}  // namespace

std::string EvidenceHead(std::size_t k, std::size_t n, const std::string& sha256) {
  return std::string(kEvidenceWord) + "/1 " + std::to_string(k) + "/" + std::to_string(n) + " " +
         sha256 + "\n";
}

Result<std::string> EncodeJpeg(const cv::Mat& picture, int quality, const std::string& evidence) {
  const int type = picture.type();
  const bool fits = picture.cols <= JPEG_MAX_DIMENSION && picture.rows <= JPEG_MAX_DIMENSION;
  if (picture.empty() || !fits || (type != CV_8UC1 && type != CV_8UC3)) {
    return Error{ErrorKind::kUnsupported, "", 0, "this kind of picture is not written as JPEG", ""};
  }
  const std::vector<std::string> comments = CommentsOf(evidence);
  const std::size_t room =
      MostBytes(picture) + comments.size() * (kMostCommentBytes + 4);  // marker and length
  const auto buffer = std::make_unique_for_overwrite<unsigned char[]>(room);
  JpegErrors errors;
  jpeg_compress_struct jpeg{};
  jpeg.err = jpeg_std_error(&errors.manager);
  errors.manager.error_exit = &JumpOut;
  unsigned char* bytes = buffer.get();
  unsigned long count = room;
  // Before the first call: that may want memory, too.
  const bool failed = setjmp(errors.on_error) != 0;  // NOLINT(cert-err52-cpp)
  if (!failed) {
    jpeg_create_compress(&jpeg);
    jpeg_mem_dest(&jpeg, &bytes, &count);
    Compress(picture, quality, comments, &jpeg);
  }
  jpeg_destroy_compress(&jpeg);
  if (failed && errors.manager.msg_code == JERR_OUT_OF_MEMORY) throw std::bad_alloc();
  if (failed) {
    return Error{ErrorKind::kInternal,
                 "",
                 0,
                 std::string("libjpeg refused to write this picture: ") + errors.message,
                 ""};
  }
  return std::string(reinterpret_cast<const char*>(buffer.get()), count);
}

}  // namespace endgrade
