// PNGs of every kind, written with libpng, and chunk surgery on them.
#pragma once

#include <png.h>

#include <cstdint>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

namespace endgrade {

struct PngKind {
  std::uint32_t width = 1;
  std::uint32_t height = 1;
  int bits = 8;
  int colour_type = PNG_COLOR_TYPE_GRAY;
  bool is_interlaced = false;
  bool has_transparent_colour = false;  // tRNS
};

inline int PngChannels(int colour_type) {
  switch (colour_type) {
    case PNG_COLOR_TYPE_GRAY_ALPHA:
      return 2;
    case PNG_COLOR_TYPE_RGB:
      return 3;
    case PNG_COLOR_TYPE_RGB_ALPHA:
      return 4;
    default:
      return 1;
  }
}

// A file of random samples (few values of each, so that a transparent colour is met).
inline std::string RandomPng(const PngKind& kind) {
  std::string bytes;
  png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, nullptr, nullptr, nullptr);
  png_infop info = png_create_info_struct(png);
  png_set_write_fn(
      png,
      &bytes,
      [](png_structp p, png_bytep from, png_size_t count) {
        static_cast<std::string*>(png_get_io_ptr(p))
            ->append(reinterpret_cast<const char*>(from), count);
      },
      nullptr);
  png_set_IHDR(png,
               info,
               kind.width,
               kind.height,
               kind.bits,
               kind.colour_type,
               kind.is_interlaced ? PNG_INTERLACE_ADAM7 : PNG_INTERLACE_NONE,
               PNG_COMPRESSION_TYPE_DEFAULT,
               PNG_FILTER_TYPE_DEFAULT);
  std::mt19937 random(kind.width * 31 + kind.height * 7 + static_cast<std::uint32_t>(kind.bits));
  std::vector<png_color> palette(std::size_t{1} << std::min(kind.bits, 8));
  std::vector<png_byte> palette_alpha(palette.size());
  for (std::size_t i = 0; i < palette.size(); ++i) {
    palette[i] = {static_cast<png_byte>(random()),
                  static_cast<png_byte>(random()),
                  static_cast<png_byte>(random())};
    palette_alpha[i] = static_cast<png_byte>(random());
  }
  if (kind.colour_type == PNG_COLOR_TYPE_PALETTE) {
    png_set_PLTE(png, info, palette.data(), static_cast<int>(palette.size()));
  }
  png_color_16 transparent{};  // grey or colour of zeros
  if (kind.has_transparent_colour) {
    if (kind.colour_type == PNG_COLOR_TYPE_PALETTE) {
      png_set_tRNS(png, info, palette_alpha.data(), static_cast<int>(palette.size()), nullptr);
    } else {
      png_set_tRNS(png, info, nullptr, 0, &transparent);
    }
  }
  png_write_info(png, info);
  const std::size_t row_bytes = png_get_rowbytes(png, info);
  std::vector<std::vector<png_byte>> rows(kind.height, std::vector<png_byte>(row_bytes));
  std::vector<png_bytep> pointers;
  for (auto& row : rows) {
    const bool is_zero = random() % 4 == 0;
    for (auto& byte : row) byte = static_cast<png_byte>(is_zero ? 0 : random());
    pointers.push_back(row.data());
  }
  png_write_image(png, pointers.data());
  png_write_end(png, info);
  png_destroy_write_struct(&png, &info);
  return bytes;
}

// The checksum of PNG's annex D, bit by bit.
inline std::uint32_t PngChecksum(const std::string& bytes) {
  std::uint32_t crc = 0xffffffffu;
  for (const char c : bytes) {
    crc ^= static_cast<unsigned char>(c);
    for (int i = 0; i < 8; ++i) crc = (crc & 1) != 0 ? 0xedb88320u ^ crc >> 1 : crc >> 1;
  }
  return crc ^ 0xffffffffu;
}

inline std::string BigEndian(std::uint32_t value) {
  std::string bytes;
  for (const int shift : {24, 16, 8, 0}) bytes += static_cast<char>(value >> shift & 0xff);
  return bytes;
}

inline std::string PngChunk(const std::string& name, const std::string& body) {
  return BigEndian(static_cast<std::uint32_t>(body.size())) + name + body +
         BigEndian(PngChecksum(name + body));
}

inline constexpr std::size_t kPngHeaderEnd = 33;  // signature and IHDR

inline std::string WithChunkAfterHeader(const std::string& png, const std::string& chunk) {
  return png.substr(0, kPngHeaderEnd) + chunk + png.substr(kPngHeaderEnd);
}

inline std::string WithChunkBeforeEnd(const std::string& png, const std::string& chunk) {
  constexpr std::size_t kEndBytes = 12;
  return png.substr(0, png.size() - kEndBytes) + chunk + png.substr(png.size() - kEndBytes);
}

// The same file with another size in its header, checksum mended.
inline std::string WithPngSize(const std::string& png, std::uint32_t width, std::uint32_t height) {
  const std::string body = BigEndian(width) + BigEndian(height) + png.substr(24, 5);
  return png.substr(0, 8) + PngChunk("IHDR", body) + png.substr(kPngHeaderEnd);
}

}  // namespace endgrade
