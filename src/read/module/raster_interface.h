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

enum EndgradeRasterOutcome {
  ENDGRADE_RASTER_DECODED = 0,      // and `take` has been called
  ENDGRADE_RASTER_UNDECODABLE = 1,  // damaged, or of a kind that is not read
  ENDGRADE_RASTER_NO_MEMORY = 2,
  ENDGRADE_RASTER_HIDES_DAMAGE = 3,  // the libraries at hand would hide damage
};

// Decodes a whole TIFF (its first page, turned upright) or BMP file in memory. Nothing is thrown or
// printed. Returns an EndgradeRasterOutcome.
using EndgradeDecodeRaster = int (*)(const unsigned char* bytes,
                                     std::size_t num_bytes,
                                     void* context,
                                     EndgradeTakeRaster take);
}

// The names the module has them under. A change of the interface changes the name.
#define ENDGRADE_DECODE_RASTER endgrade_decode_raster_1
#define ENDGRADE_DECODE_RASTER_NAME "endgrade_decode_raster_1"
