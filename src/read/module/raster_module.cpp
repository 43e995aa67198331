// TIFF and BMP by OpenCV, in a library of its own: OpenCV's picture files bring about 140 shared
// libraries with them, which a program that reads JPEG and PNG should not wait for.
#include "read/module/quiet_cerr.h"
#include "read/module/raster_interface.h"

#include <opencv2/core.hpp>

#include <new>

// Debian's package with this declaration brings 200 more; the one with the library alone is enough.
// Where the header is there, the compiler holds the two against each other.
#if __has_include(<opencv2/imgcodecs.hpp>)
#include <opencv2/imgcodecs.hpp>
#endif
namespace cv {
Mat imdecode(InputArray bytes, int flags);
}

namespace {

constexpr int kUnchanged = -1;  // depth, channels and alpha as they are in the file
#if __has_include(<opencv2/imgcodecs.hpp>)
static_assert(kUnchanged == cv::IMREAD_UNCHANGED);
#endif

enum Outcome { kDecoded = 0, kUndecodable = 1, kNoMemory = 2 };

int Decode(const unsigned char* bytes,
           std::size_t num_bytes,
           void* context,
           EndgradeTakeRaster take) {
  const cv::Mat file(1, static_cast<int>(num_bytes), CV_8UC1, const_cast<unsigned char*>(bytes));
  const cv::Mat pixels = cv::imdecode(file, kUnchanged);
  if (pixels.empty() || pixels.dims != 2) return kUndecodable;
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
