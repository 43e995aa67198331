// TIFF and BMP by OpenCV, in a library of its own: OpenCV's picture files bring about 140 shared
// libraries with them, which a program that reads JPEG and PNG should not wait for.
#include "read/module/quiet_cerr.h"
#include "read/module/raster_interface.h"
#include "read/module/tiff_damage.h"

#include <opencv2/core.hpp>

#include <exception>
#include <new>

// Debian's package with this declaration brings 200 more; the one with the library alone is enough.
// Where the header is there, the compiler holds the two against each other.
#if __has_include(<opencv2/imgcodecs.hpp>)
#include <opencv2/imgcodecs.hpp>
#endif
namespace cv {
Mat imdecode(InputArray bytes, int flags);  // NOLINT(readability-redundant-declaration)
}

namespace {

constexpr int kUnchanged = -1;  // depth, channels and alpha as they are in the file
#if __has_include(<opencv2/imgcodecs.hpp>)
static_assert(kUnchanged == cv::IMREAD_UNCHANGED);
#endif

enum Outcome {
  kDecoded = ENDGRADE_RASTER_DECODED,
  kUndecodable = ENDGRADE_RASTER_UNDECODABLE,
  kNoMemory = ENDGRADE_RASTER_NO_MEMORY,
  kHidesDamage = ENDGRADE_RASTER_HIDES_DAMAGE,
};

cv::Mat Decoded(const unsigned char* bytes, std::size_t num_bytes) {
  const cv::Mat file(1, static_cast<int>(num_bytes), CV_8UC1, const_cast<unsigned char*>(bytes));
  return cv::imdecode(file, kUnchanged);
}

// 8 x 8 grey pixels, LZW-coded, that start with a code which no table has yet.
void TryDamagedTiff() {
  static constexpr unsigned char kTiff[] = {
      'I',  'I',  42,   0,    8,    0,    0,    0,   8,   0,        // directory of 8 entries
      0,    1,    3,    0,    1,    0,    0,    0,   8,   0, 0, 0,  // width
      1,    1,    3,    0,    1,    0,    0,    0,   8,   0, 0, 0,  // height
      2,    1,    3,    0,    1,    0,    0,    0,   8,   0, 0, 0,  // bits a sample
      3,    1,    3,    0,    1,    0,    0,    0,   5,   0, 0, 0,  // LZW
      6,    1,    3,    0,    1,    0,    0,    0,   1,   0, 0, 0,  // black is zero
      0x11, 1,    4,    0,    1,    0,    0,    0,   110, 0, 0, 0,  // strip at
      0x16, 1,    3,    0,    1,    0,    0,    0,   8,   0, 0, 0,  // rows a strip
      0x17, 1,    4,    0,    1,    0,    0,    0,   8,   0, 0, 0,  // strip bytes
      0,    0,    0,    0,                                          // no page after
      0x80, 0x3f, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff};              // clear, then nonsense
  try {
    static_cast<void>(Decoded(kTiff, sizeof kTiff));
  } catch (const std::exception&) {
    // To be refused is as good.
  }
}

int Decode(const unsigned char* bytes,
           std::size_t num_bytes,
           void* context,
           EndgradeTakeRaster take) {
  const bool is_tiff = bytes[0] != 'B';
  if (is_tiff && !endgrade::WatchTiffDamage(TryDamagedTiff)) return kHidesDamage;
  const endgrade::TiffDamageWatch watch;
  const cv::Mat pixels = Decoded(bytes, num_bytes);
  if (pixels.empty() || pixels.dims != 2 || watch.HasSeenDamage()) return kUndecodable;
  if (pixels.depth() != CV_8U && pixels.depth() != CV_16U) return kUndecodable;
  const EndgradeRaster raster{pixels.rows,
                              pixels.cols,
                              pixels.channels(),
                              static_cast<int>(pixels.elemSize1()),
                              pixels.data,
                              pixels.step};
  take(context, &raster);
  return kDecoded;
}

}  // namespace

extern "C" __attribute__((visibility("default"))) int ENDGRADE_DECODE_RASTER(
    const unsigned char* bytes, std::size_t num_bytes, void* context, EndgradeTakeRaster take) {
  const endgrade::QuietCerr quiet;
  try {
    return Decode(bytes, num_bytes, context, take);
  } catch (const std::bad_alloc&) {
    return kNoMemory;
  } catch (const cv::Exception& e) {
    return e.code == cv::Error::StsNoMem ? kNoMemory : kUndecodable;
  } catch (...) {
    return kUndecodable;
  }
}
