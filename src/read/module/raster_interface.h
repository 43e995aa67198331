// Between the program and the module that decodes TIFF and BMP: plain C, so that nothing but these
// few declarations must agree.
#pragma once

#include <cstddef>

extern "C" {

struct EndgradeRaster {
  int rows;
  int columns;
  int channels;          // 1 grey, 3 blue, green, red, 4 those and alpha
  int bytes_per_sample;  // 1 or 2
  const unsigned char* pixels;
  std::size_t step;  // bytes from row to row
};

// Called once with the pixels, which are gone when it returns.
using EndgradeTakeRaster = void (*)(void* context, const EndgradeRaster* raster);

// Decodes a whole TIFF (its first page, turned upright) or BMP file in memory. Nothing is thrown or
// printed. Returns 0 and has called `take`, 1 where the data cannot be decoded, 2 for want of
// memory.
using EndgradeDecodeRaster = int (*)(const unsigned char* bytes,
                                     std::size_t num_bytes,
                                     void* context,
                                     EndgradeTakeRaster take);
}

// The names the module has them under. A change of the interface changes the name.
#define ENDGRADE_DECODE_RASTER endgrade_decode_raster_1
#define ENDGRADE_DECODE_RASTER_NAME "endgrade_decode_raster_1"
