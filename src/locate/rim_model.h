// What a rim looks like along a ray, and how that changes with everything it depends on.
//
// Light: glass, an adhesive ring or none, ferrule, with sharp edges between them; blurred by two
// Gaussians, the wider for the tails that diffraction and scatter leave (Goodman, Introduction to
// Fourier Optics, ch. 6, from memory); stored as light ^ (1 / tone); then sharpened by an unsharp
// mask, as cameras do with what they are about to store.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

namespace endgrade::locate {

// Parameters of the whole rim. Lengths in pixels of the level it is measured in.
enum RimParameter : std::size_t {
  kSize,  // the glass's edge outwards of the ellipse, and the terms of RimOffset, times the radius
  kShiftX,
  kShiftY,
  kOvalC,
  kOvalS,
  kLogSigma,    // of the narrower Gaussian
  kTail,        // share of the wider one
  kLogTone,     // of the exponent
  kSharpen,     // amount
  kLogSharpen,  // radius
  kLogWidth,    // of the ring, mean over the turn
  kWidthX,      // its eccentricity: width (1 + x cos + y sin)
  kWidthY,
  kLogDepth,  // ring's light over that of its darker (dark ring) or brighter neighbour
  kRimCount
};
using RimVector = std::array<double, kRimCount>;

// Parameters of one sector. Brightness as stored, 0 to 255.
enum SectorParameter : std::size_t {
  kGlass,
  kGlassSlope,  // a pixel
  kFerrule,
  kFerruleSlope,
  kDepthChange,  // of the ring's log depth
  kWidthChange,  // of the ring's width, relative
  kSectorCount
};
using SectorVector = std::array<double, kSectorCount>;

// Sigma of the wider Gaussian over that of the narrower.
inline constexpr double kWiderSigma = 2.8;

enum class RingKind { kNone, kDark, kBright };

struct RimSector {
  double cos_t = 1;
  double sin_t = 0;
  std::vector<float> level;   // one value a column
  std::vector<float> weight;  // 1 / noise; 0 leaves a value out
};

// Brightness across a rim, by sector.
struct RimData {
  double radius = 1;  // of the ellipse, in pixels of the level
  double factor = 1;  // pixels of the picture in one of the level
  double first = 0;   // distance of the first column from the ellipse, and between columns
  double pitch = 1;
  std::vector<RimSector> sectors;

  [[nodiscard]] std::size_t Columns() const { return sectors.front().level.size(); }
};

// Quantities that one ray's values depend on. The rim's and the sector's parameters act through
// them: the edge's place, for one, through five.
enum RayQuantity : std::size_t {
  kRayEdge,
  kRaySigma,
  kRayTail,
  kRayTone,
  kRayWidth,
  kRayDepth,
  kRayGlass,
  kRayGlassSlope,
  kRayFerrule,
  kRayFerruleSlope,
  kRaySharpen,
  kRaySharpenRadius,
  kRayCount
};

// Values along one ray, and their derivatives.
class SectorModel {
 public:
  explicit SectorModel(RingKind kind, const RimData& data);

  void Evaluate(const RimVector& rim, const SectorVector& sector, double cos_t, double sin_t);

  // Derivatives by all quantities at one place of the ray, in two vectors of eight: the room after
  // them is the caller's.
  static constexpr std::size_t kRowRoom = 16;
  struct alignas(32) Row {
    std::array<float, kRowRoom> by{};
  };
  [[nodiscard]] const std::vector<float>& values() const { return values_; }
  [[nodiscard]] std::vector<Row>& rows() { return rows_; }

  // Every parameter, the rim's first, acts through one quantity: which, and the quantity's
  // derivative by it, at the last Evaluate().
  struct Path {
    RayQuantity through;
    double factor;
  };
  using Paths = std::array<Path, kRimCount + std::size_t{kSectorCount}>;
  [[nodiscard]] Paths ByParameters() const;

 private:
  // Values as exposed, before sharpening, and their derivatives, are kept in lines along the ray,
  // with room for a sharpening's reach before and after them.
  static constexpr std::size_t kLines = kRaySharpen + 1;
  static constexpr std::size_t kPlain = kRaySharpen;

  void Expose(const RimVector& rim, const SectorVector& sector);
  void Sharpen(float amount, double radius_px);
  void MakeKernel(double radius_px);
  void MakeRoom(std::size_t reach);
  void ExtendEnds(std::size_t reach);
  [[nodiscard]] float* Line(std::size_t which) { return lines_.data() + which * stride_ + room_; }

  RingKind kind_;
  double radius_, first_, pitch_;
  double cos_t_ = 1, sin_t_ = 0;
  double edge_ = 0, spread_ = 1, turn_width_ = 0, width_ = 0;
  std::size_t columns_, room_ = 0, stride_ = 0;
  std::vector<float> values_, soft_, by_radius_;
  std::vector<Row> rows_;
  std::vector<float> lines_;
  std::vector<float> kernel_, shares_;
  std::vector<double> weights_;
  double kernel_radius_px_ = 0;
  std::vector<float> places_;
};

}  // namespace endgrade::locate
