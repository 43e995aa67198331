#include "read/jpeg_decoder.h"

#include "read/errors.h"

#include <algorithm>
#include <array>
#include <jerror.h>
#include <new>
#include <string>

// Every function that calls setjmp has trivial locals only, none changed after it: a jump runs no
// destructor, and what it finds in a changed local is undefined.
namespace endgrade::read {
namespace {

// A progressive picture as encoders write it has 10 scans or so. Each costs a pass over the whole
// picture however few bytes it has, so that a small file could keep us busy for hours.
constexpr int kMostScans = 100;
// And of a large one fewer, so that all passes together look at 4 gigapixels at most: some seconds.
constexpr std::int64_t kMostScannedPixels = 4'000'000'000;
constexpr std::int64_t kScansOfAnyPicture = 20;

int MostScans(const jpeg_decompress_struct& jpeg) {
  const std::int64_t pixels =
      std::max<std::int64_t>(std::int64_t{jpeg.image_width} * jpeg.image_height, 1);
  return static_cast<int>(
      std::clamp<std::int64_t>(kMostScannedPixels / pixels, kScansOfAnyPicture, kMostScans));
}

constexpr unsigned int kMostMarkerBytes = 0xffff;

bool SaysCutShort(int message) {
  return message == JWRN_HIT_MARKER || message == JWRN_JPEG_EOF || message == JERR_INPUT_EOF;
}

bool SaysUnsupported(int message) {
  static constexpr std::array kMessages = {JERR_BAD_PRECISION,
                                           JERR_SOF_UNSUPPORTED,
                                           JERR_CONVERSION_NOTIMPL,
                                           JERR_COMPONENT_COUNT,
                                           JERR_CCIR601_NOTIMPL,
                                           JERR_FRACT_SAMPLE_NOTIMPL,
                                           JERR_ARITH_NOTIMPL,
                                           JERR_NOT_COMPILED};
  return std::find(kMessages.begin(), kMessages.end(), message) != kMessages.end();
}

// About what a file says beside its picture.
bool IsHarmless(int message) { return message == JWRN_ADOBE_XFORM || message == JWRN_JFIF_MAJOR; }

}  // namespace

JpegDecoder::JpegDecoder(std::string_view bytes) : bytes_(bytes) {
  jpeg_.err = jpeg_std_error(&errors_);
  errors_.error_exit = OnError;
  errors_.emit_message = OnMessage;
  jpeg_.client_data = this;
}

JpegDecoder::~JpegDecoder() { jpeg_destroy_decompress(&jpeg_); }

void JpegDecoder::OnError(j_common_ptr jpeg) {
  std::longjmp(static_cast<JpegDecoder*>(jpeg->client_data)->jump_, 1);
}

void JpegDecoder::OnMessage(j_common_ptr jpeg, int level) {
  if (level < 0 && !IsHarmless(jpeg->err->msg_code)) OnError(jpeg);
}

void JpegDecoder::OnProgress(j_common_ptr jpeg) {
  auto* decoder = static_cast<JpegDecoder*>(jpeg->client_data);
  if (decoder->jpeg_.input_scan_number <= MostScans(decoder->jpeg_)) return;
  decoder->has_too_many_scans_ = true;
  OnError(jpeg);
}

bool JpegDecoder::ReadHeader() {
  if (setjmp(jump_) != 0) return false;
  jpeg_create_decompress(&jpeg_);
  progress_.progress_monitor = OnProgress;
  jpeg_.progress = &progress_;
  jpeg_save_markers(&jpeg_, JPEG_APP0 + 1, kMostMarkerBytes);
  jpeg_mem_src(&jpeg_, reinterpret_cast<const unsigned char*>(bytes_.data()), bytes_.size());
  return jpeg_read_header(&jpeg_, TRUE) == JPEG_HEADER_OK;
}

bool JpegDecoder::Start(J_COLOR_SPACE out) {
  if (setjmp(jump_) != 0) return false;
  jpeg_.out_color_space = out;
  return jpeg_start_decompress(&jpeg_) != FALSE;
}

bool JpegDecoder::ReadRows(std::uint8_t* first, std::size_t step, int count) {
  if (setjmp(jump_) != 0) return false;
  constexpr int kAtOnce = 16;
  JSAMPROW rows[kAtOnce];
  for (int done = 0; done < count;) {
    const int some = std::min(kAtOnce, count - done);
    for (int i = 0; i < some; ++i) rows[i] = first + static_cast<std::size_t>(done + i) * step;
    done += static_cast<int>(jpeg_read_scanlines(&jpeg_, rows, static_cast<JDIMENSION>(some)));
  }
  return true;
}

bool JpegDecoder::Finish() {
  if (setjmp(jump_) != 0) return false;
  return jpeg_finish_decompress(&jpeg_) != FALSE;
}

Error JpegDecoder::problem() const {
  const int message = errors_.msg_code;
  if (message == JERR_OUT_OF_MEMORY) throw std::bad_alloc();
  if (has_too_many_scans_) {
    return Unsupported("the JPEG picture has more than " + std::to_string(MostScans(jpeg_)) +
                       " scans");
  }
  if (SaysCutShort(message)) return CutShort("JPEG");
  std::array<char, JMSG_LENGTH_MAX> text{};
  errors_.format_message(
      reinterpret_cast<j_common_ptr>(const_cast<jpeg_decompress_struct*>(&jpeg_)), text.data());
  if (SaysUnsupported(message)) {
    return Unsupported("a rare kind of JPEG (" + std::string(text.data()) + ")");
  }
  return Damaged("the JPEG data is damaged (" + std::string(text.data()) + ")");
}

}  // namespace endgrade::read
