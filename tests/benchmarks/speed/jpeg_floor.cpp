#include "tests/benchmarks/speed/jpeg_floor.h"

#include <cstdio>
//
#include <jpeglib.h>

#include <csetjmp>
#include <vector>

namespace endgrade::bench {
namespace {

struct Errors {
  jpeg_error_mgr manager{};  // first: libjpeg hands back its address
  std::jmp_buf jump{};
};

void GiveUp(j_common_ptr jpeg) { std::longjmp(reinterpret_cast<Errors*>(jpeg->err)->jump, 1); }

}  // namespace

std::size_t DecodeJpegFloor(const std::string& bytes) {
  static thread_local std::vector<unsigned char> pixels;
  jpeg_decompress_struct jpeg{};
  Errors errors;
  jpeg.err = jpeg_std_error(&errors.manager);
  errors.manager.error_exit = GiveUp;
  if (setjmp(errors.jump) != 0) {
    jpeg_destroy_decompress(&jpeg);
    return 0;
  }
  jpeg_create_decompress(&jpeg);
  jpeg_mem_src(&jpeg, reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size());
  jpeg_read_header(&jpeg, TRUE);
  if (jpeg.num_components == 3) jpeg.out_color_space = JCS_EXT_BGR;
  jpeg_start_decompress(&jpeg);
  const std::size_t step = static_cast<std::size_t>(jpeg.output_width) *
                           static_cast<std::size_t>(jpeg.output_components);
  pixels.resize(step * jpeg.output_height);
  while (jpeg.output_scanline < jpeg.output_height) {
    JSAMPROW row = pixels.data() + step * jpeg.output_scanline;
    jpeg_read_scanlines(&jpeg, &row, 1);
  }
  jpeg_finish_decompress(&jpeg);
  jpeg_destroy_decompress(&jpeg);
  return pixels.size();
}

}  // namespace endgrade::bench
