#include "read/file_kind.h"

#include <algorithm>
#include <cctype>
#include <iterator>

namespace endgrade::read {
namespace {

using namespace std::string_view_literals;

struct Signature {
  std::string_view bytes;
  std::string_view words;
};

// The published signatures of common formats; longer ones before those that they start with.
constexpr Signature kOtherKinds[] = {
    {"%PDF"sv, "a PDF document"},
    {"GIF87a"sv, "a GIF picture"},
    {"GIF89a"sv, "a GIF picture"},
    {"\0\0\0\x0cjP  "sv, "a JPEG 2000 picture"},
    {"\xff\x4f\xff\x51"sv, "a JPEG 2000 picture"},
    {"\0\0\0\x0cJXL "sv, "a JPEG XL picture"},
    {"\xff\x0a"sv, "a JPEG XL picture"},
    {"8BPS"sv, "a layered picture of an image editor (PSD)"},
    {"gimp xcf"sv, "a layered picture of an image editor (XCF)"},
    {"\x76\x2f\x31\x01"sv, "an OpenEXR picture"},
    {"#?RADIANCE"sv, "a Radiance HDR picture"},
    {"SIMPLE  ="sv, "a FITS picture"},
    {"II+\0"sv, "a BigTIFF picture"},
    {"MM\0+"sv, "a BigTIFF picture"},
    {"IIU\0"sv, "a camera's raw file"},
    {"IIRO"sv, "a camera's raw file"},
    {"IIRS"sv, "a camera's raw file"},
    {"MMOR"sv, "a camera's raw file"},
    {"FUJIFILMCCD-RAW"sv, "a camera's raw file"},
    {"\0\0\1\0"sv, "an icon (ICO)"},
    {"PK\3\4"sv, "a ZIP archive or an office document"},
    {"\x1f\x8b"sv, "a gzip archive"},
    {"7z\xbc\xaf\x27\x1c"sv, "a 7-Zip archive"},
    {"Rar!\x1a\x07"sv, "a RAR archive"},
    {"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"sv, "an office document"},
    {"\x1a\x45\xdf\xa3"sv, "a film (Matroska)"},
    {"\x7f"
     "ELF"sv,
     "a program"},
    {"\xfe\xff"sv, "text"},
    {"\xff\xfe"sv, "text"},
    {"\xef\xbb\xbf"sv, "text"},
};

// ISO base media: the brand that stands after "ftyp" says what it holds.
std::string_view BoxWords(std::string_view brand) {
  if (brand == "avif" || brand == "avis") return "an AVIF picture";
  if (brand == "crx ") return "a camera's raw file";
  static constexpr std::string_view kHeif[] = {
      "heic", "heix", "heim", "heis", "hevc", "hevx", "mif1", "msf1"};
  if (std::find(std::begin(kHeif), std::end(kHeif), brand) != std::end(kHeif)) {
    return "a HEIC picture";
  }
  return "a film (MP4 or QuickTime)";
}

std::string_view RiffWords(std::string_view form) {
  if (form == "WEBP") return "a WebP picture";
  if (form == "AVI ") return "a film (AVI)";
  return "";
}

bool IsNetpbm(std::string_view bytes) {
  return bytes.size() > 2 && bytes[0] == 'P' && bytes[1] >= '1' && bytes[1] <= '7' &&
         std::isspace(static_cast<unsigned char>(bytes[2])) != 0;
}

bool IsText(std::string_view bytes) {
  constexpr std::size_t kEnough = 512;
  return std::all_of(bytes.begin(), bytes.begin() + std::min(bytes.size(), kEnough), [](char c) {
    const auto u = static_cast<unsigned char>(c);
    return (u >= 0x20 && u != 0x7f) || u == '\n' || u == '\r' || u == '\t' || u == '\f';
  });
}

std::string_view OtherWords(std::string_view bytes) {
  for (const Signature& known : kOtherKinds) {
    if (bytes.starts_with(known.bytes)) return known.words;
  }
  constexpr std::size_t kFormAt = 8;
  if (bytes.size() >= kFormAt + 4) {
    if (bytes.substr(4, 4) == "ftyp") return BoxWords(bytes.substr(kFormAt, 4));
    if (bytes.starts_with("RIFF")) return RiffWords(bytes.substr(kFormAt, 4));
  }
  constexpr std::size_t kDicomAt = 128;
  if (bytes.size() > kDicomAt && bytes.substr(kDicomAt).starts_with("DICM")) {
    return "a DICOM picture";
  }
  if (IsNetpbm(bytes)) return "a netpbm picture (PBM, PGM, PPM)";
  if (IsText(bytes)) return "text";
  return "";
}

// "BM" alone also starts texts; the size of the header that follows does not lie within them.
bool IsBmp(std::string_view bytes) {
  return bytes.size() > 17 && bytes.starts_with("BM") && bytes[15] == 0 && bytes[16] == 0 &&
         bytes[17] == 0;
}

}  // namespace

KindOfFile TellKind(std::string_view bytes) {
  if (bytes.starts_with("\xff\xd8\xff"sv)) return {FileKind::kJpeg, "JPEG"};
  if (bytes.starts_with("\x89PNG\r\n\x1a\n"sv)) return {FileKind::kPng, "PNG"};
  if (bytes.starts_with("II*\0"sv) || bytes.starts_with("MM\0*"sv)) {
    if (bytes.size() > 10 && bytes.substr(8, 2) == "CR") {
      return {FileKind::kOther, "a camera's raw file"};
    }
    return {FileKind::kTiff, "TIFF"};
  }
  if (IsBmp(bytes)) return {FileKind::kBmp, "BMP"};
  return {FileKind::kOther, std::string(OtherWords(bytes))};
}

}  // namespace endgrade::read
