#include "read/tiff_header.h"

#include "read/errors.h"
#include "read/picture_size.h"
#include "read/tiff_directory.h"

#include <algorithm>
#include <iterator>
#include <optional>
#include <string>

namespace endgrade::read {
namespace {

// TIFF 6.0, appendix A.
enum Tag : std::uint32_t {
  kNewSubfileType = 254,
  kImageWidth = 256,
  kImageLength = 257,
  kBitsPerSample = 258,
  kCompression = 259,
  kPhotometric = 262,
  kStripOffsets = 273,
  kSamplesPerPixel = 277,
  kRowsPerStrip = 278,
  kStripByteCounts = 279,
  kPlanarConfiguration = 284,
  kTileWidth = 322,
  kTileLength = 323,
  kTileOffsets = 324,
  kTileByteCounts = 325,
  kExtraSamples = 338,
  kSampleFormat = 339,
};

constexpr std::uint32_t kUncompressed = 1;
// LZW, deflate under its two numbers, PackBits: those whose damage is told of as an error.
constexpr std::uint32_t kCompressions[] = {kUncompressed, 5, 8, 32946, 32773};
constexpr std::uint32_t kStraightAlpha = 2;

std::uint64_t DivideUp(std::uint64_t a, std::uint64_t b) { return (a + b - 1) / b; }

bool AllAre(const std::vector<std::uint32_t>& numbers, std::uint32_t value) {
  return std::all_of(numbers.begin(), numbers.end(), [=](std::uint32_t n) { return n == value; });
}

std::optional<Error> KindProblem(const TiffDirectory& directory, const TiffHeader& header) {
  const auto kind = [](const std::string& what) {
    return Unsupported("a rare kind of TIFF (" + what + ")");
  };
  if ((directory.First(kNewSubfileType, 0) & 1) != 0) {
    return kind("its first page is a reduced copy, as in cameras' raw files");
  }
  if (!AllAre(directory.All(kSampleFormat), 1)) return kind("samples that are not whole numbers");
  if (!AllAre(directory.All(kBitsPerSample), header.bits)) return kind("channels of unequal bits");
  if (header.bits != 1 && header.bits != 8 && header.bits != 16) {
    return kind(std::to_string(header.bits) + " bits a sample");
  }
  const std::uint32_t compression = directory.First(kCompression, kUncompressed);
  if (std::find(std::begin(kCompressions), std::end(kCompressions), compression) ==
      std::end(kCompressions)) {
    return kind("compression " + std::to_string(compression));
  }
  const std::uint32_t samples = header.samples;
  bool is_known = false;
  switch (header.photometric) {
    case 0:
    case 1:
      is_known = samples == 1;
      break;
    case 2:
      is_known = header.bits != 1 && (samples == 3 || samples == 4);
      break;
    case 3:
      is_known = header.bits == 8 && samples == 1;
      break;
    case 6:
      is_known = header.bits == 8 && samples == 3;
      break;
    default:
      break;
  }
  if (!is_known) {
    return kind("colour space " + std::to_string(header.photometric) + " with " +
                std::to_string(samples) + " channels of " + std::to_string(header.bits) + " bits");
  }
  if (directory.First(kPlanarConfiguration, 1) != 1 && samples > 1 && header.bits == 16) {
    return kind("16-bit channels in planes of their own");
  }
  return std::nullopt;
}

// How the pixels are cut up: strips are tiles as wide as the picture.
struct Cut {
  std::uint64_t width, height, across, down, planes;
  const std::vector<std::uint32_t>& offsets;
  const std::vector<std::uint32_t>& byte_counts;
  bool is_tiled;
};

std::optional<Cut> CutOf(const TiffDirectory& directory, const TiffHeader& header) {
  const bool is_tiled = directory.Has(kTileWidth);
  const std::uint64_t width = is_tiled ? directory.First(kTileWidth, 0) : header.width;
  const std::uint64_t height =
      is_tiled ? directory.First(kTileLength, 0)
               : std::min(directory.First(kRowsPerStrip, header.height), header.height);
  if (width == 0 || height == 0) return std::nullopt;
  return Cut{width,
             height,
             DivideUp(header.width, width),
             DivideUp(header.height, height),
             directory.First(kPlanarConfiguration, 1) == 1 ? 1 : header.samples,
             directory.All(is_tiled ? kTileOffsets : kStripOffsets),
             directory.All(is_tiled ? kTileByteCounts : kStripByteCounts),
             is_tiled};
}

// Bytes that part `index` has at least: all of its pixels where nothing is compressed.
std::uint64_t LeastBytes(const Cut& cut,
                         const TiffHeader& header,
                         bool is_compressed,
                         std::uint64_t index) {
  if (is_compressed) return 1;
  const std::uint64_t row = index % (cut.across * cut.down) / cut.across;
  const std::uint64_t height =
      cut.is_tiled ? cut.height : std::min(cut.height, header.height - row * cut.height);
  return height * DivideUp(cut.width * header.bits * header.samples / cut.planes, 8);
}

// OpenCV takes memory for a whole strip or tile, of whatever size the file says that it is.
constexpr std::uint64_t kMostTimesPicture = 4;
constexpr std::uint64_t kSmallPart = 1 << 24;    // pixels
constexpr std::uint32_t kOneStrip = 0xFFFFFFFF;  // TIFF 6.0: all rows in one

bool IsPartTooLarge(const TiffDirectory& directory, const TiffHeader& header) {
  const bool is_tiled = directory.Has(kTileWidth);
  const std::uint64_t width = is_tiled ? directory.First(kTileWidth, 0) : header.width;
  const std::uint32_t rows =
      is_tiled ? directory.First(kTileLength, 0) : directory.First(kRowsPerStrip, kOneStrip);
  if (!is_tiled && rows == kOneStrip) return false;
  const std::uint64_t picture = std::uint64_t{header.width} * header.height;
  return width * rows > std::max(kSmallPart, kMostTimesPicture * picture);
}

std::optional<Error> CutProblem(const TiffDirectory& directory,
                                const TiffHeader& header,
                                std::size_t num_bytes) {
  const auto cut = CutOf(directory, header);
  if (!cut) return Damaged("the TIFF directory is damaged: strips or tiles of no size");
  if (IsPartTooLarge(directory, header)) {
    return Damaged("the TIFF directory is damaged: a strip or tile is larger than the picture");
  }
  const std::uint64_t num_parts = cut->across * cut->down * cut->planes;
  if (cut->offsets.size() < num_parts || cut->byte_counts.size() < num_parts) {
    return Damaged("the TIFF directory is damaged: it lists too few strips or tiles");
  }
  const bool is_compressed = directory.First(kCompression, kUncompressed) != kUncompressed;
  for (std::uint64_t i = 0; i < num_parts; ++i) {
    if (std::uint64_t{cut->offsets[i]} + cut->byte_counts[i] > num_bytes) return CutShort("TIFF");
    if (cut->byte_counts[i] < LeastBytes(*cut, header, is_compressed, i)) {
      return Damaged("the TIFF directory is damaged: a strip or tile is too small for its pixels");
    }
  }
  return std::nullopt;
}

}  // namespace

Result<TiffHeader> ReadTiffHeader(std::string_view bytes, const ReadOptions& options) {
  auto directory = TiffDirectory::Read(bytes);
  if (!directory.ok()) return directory.error();
  if (!directory->Has(kImageWidth) || !directory->Has(kImageLength) ||
      !directory->Has(kPhotometric)) {
    return Damaged("the TIFF directory is damaged: it does not say what picture there is");
  }
  TiffHeader header;
  header.width = directory->First(kImageWidth, 0);
  header.height = directory->First(kImageLength, 0);
  header.bits = directory->First(kBitsPerSample, 1);
  header.samples = directory->First(kSamplesPerPixel, 1);
  header.photometric = directory->First(kPhotometric, 0);
  header.has_straight_alpha = directory->First(kExtraSamples, 0) == kStraightAlpha;
  if (auto problem = KindProblem(*directory, header)) return *problem;
  if (auto problem = SizeProblem(header.width, header.height, options)) return *problem;
  if (auto problem = CutProblem(*directory, header, bytes.size())) return *problem;
  return header;
}

}  // namespace endgrade::read
