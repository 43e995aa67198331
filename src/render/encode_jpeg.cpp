#include "render/encode.h"

#include <jpeglib.h>

#include <csetjmp>
#include <cstdio>
#include <cstdlib>

namespace endgrade::render {
namespace {

struct Escape {
  jpeg_error_mgr base;
  std::jmp_buf place;
  char message[JMSG_LENGTH_MAX];
};

void LeaveWithMessage(j_common_ptr codec) {
  auto* escape = reinterpret_cast<Escape*>(codec->err);
  codec->err->format_message(codec, escape->message);
  std::longjmp(escape->place, 1);
}

void Arm(Escape& escape) {
  jpeg_std_error(&escape.base);
  escape.base.error_exit = LeaveWithMessage;
  escape.message[0] = '\0';
}

Error Failure(const Escape& escape) {
  return {ErrorKind::kInternal, "", 0, std::string("JPEG: ") + escape.message, ""};
}

// No object with a destructor lives in the two functions below: longjmp passes over them.
bool Compress(jpeg_compress_struct& codec,
              Escape& escape,
              const cv::Mat& picture,
              int quality,
              bool half_chroma,
              unsigned char** bytes,
              unsigned long* count) {
  if (setjmp(escape.place) != 0) return false;
  jpeg_create_compress(&codec);
  jpeg_mem_dest(&codec, bytes, count);
  codec.image_width = static_cast<JDIMENSION>(picture.cols);
  codec.image_height = static_cast<JDIMENSION>(picture.rows);
  codec.input_components = picture.channels();
  codec.in_color_space = picture.channels() == 1 ? JCS_GRAYSCALE : JCS_EXT_BGR;
  jpeg_set_defaults(&codec);
  jpeg_set_quality(&codec, quality, TRUE);
  if (picture.channels() == 3) {
    codec.comp_info[0].h_samp_factor = half_chroma ? 2 : 1;
    codec.comp_info[0].v_samp_factor = half_chroma ? 2 : 1;
  }
  codec.optimize_coding = TRUE;
  jpeg_start_compress(&codec, TRUE);
  while (codec.next_scanline < codec.image_height) {
    auto* row = const_cast<unsigned char*>(
        picture.ptr<unsigned char>(static_cast<int>(codec.next_scanline)));
    jpeg_write_scanlines(&codec, &row, 1);
  }
  jpeg_finish_compress(&codec);
  return true;
}

bool Decompress(jpeg_decompress_struct& codec,
                Escape& escape,
                const unsigned char* bytes,
                unsigned long count,
                cv::Mat* picture) {
  if (setjmp(escape.place) != 0) return false;
  jpeg_create_decompress(&codec);
  jpeg_mem_src(&codec, bytes, count);
  jpeg_read_header(&codec, TRUE);
  const bool grey = codec.num_components == 1;
  codec.out_color_space = grey ? JCS_GRAYSCALE : JCS_EXT_BGR;
  jpeg_start_decompress(&codec);
  picture->create(static_cast<int>(codec.output_height),
                  static_cast<int>(codec.output_width),
                  grey ? CV_8UC1 : CV_8UC3);
  while (codec.output_scanline < codec.output_height) {
    auto* row = picture->ptr<unsigned char>(static_cast<int>(codec.output_scanline));
    jpeg_read_scanlines(&codec, &row, 1);
  }
  jpeg_finish_decompress(&codec);
  return true;
}

}  // namespace

Result<std::string> EncodeJpeg(const cv::Mat& picture, int quality, bool half_chroma) {
  jpeg_compress_struct codec{};
  Escape escape;
  Arm(escape);
  codec.err = &escape.base;
  unsigned char* bytes = nullptr;
  unsigned long count = 0;
  const bool written = Compress(codec, escape, picture, quality, half_chroma, &bytes, &count);
  jpeg_destroy_compress(&codec);
  std::string out;
  if (written) out.assign(reinterpret_cast<char*>(bytes), count);
  std::free(bytes);
  if (!written) return Failure(escape);
  return out;
}

Result<cv::Mat> DecodeJpeg(const std::string& bytes) {
  jpeg_decompress_struct codec{};
  Escape escape;
  Arm(escape);
  codec.err = &escape.base;
  cv::Mat picture;
  const bool read = Decompress(
      codec, escape, reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size(), &picture);
  jpeg_destroy_decompress(&codec);
  if (!read) return Failure(escape);
  return picture;
}

}  // namespace endgrade::render
