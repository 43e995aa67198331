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
// them: the edge's place, for one, through five. In the order of the parameters: the rim's own,
// what is both's, the sector's own.
enum RayQuantity : std::size_t {
  kRayEdge,
  kRaySigma,
  kRayTail,
  kRayTone,
  kRaySharpen,
  kRaySharpenRadius,
  kRayWidth,
  kRayDepth,
  kRayGlass,
  kRayGlassSlope,
  kRayFerrule,
  kRayFerruleSlope,
  kRayCount
};

// Sectors are worked on so many at a time, side by side. Where there are fewer, the last is there
// more than once.
inline constexpr std::size_t kSide = 8;
using EightFloats = std::array<float, kSide>;
using EightDoubles = std::array<double, kSide>;

// Derivatives at one place of eight rays by all quantities.
struct alignas(32) RimRow {
  std::array<EightFloats, kRayCount> by;
};

// Through which quantity a parameter acts, the rim's parameters first, and the quantity's
// derivative by it in each of eight sectors.
inline constexpr std::size_t kParameterCount = kRimCount + std::size_t{kSectorCount};
struct RimPaths {
  static const std::array<RayQuantity, kParameterCount> kThrough;
  std::array<EightDoubles, kParameterCount> factor;
};

// Values along the rays, and their derivatives.
class RimModel {
 public:
  RimModel(RingKind kind, const RimData& data);

  // What all sectors have in common. Comes before the others.
  void SetRim(const RimVector& rim);

  // The values of eight sectors: `columns` times eight. They stand until the next call.
  const float* Evaluate(std::size_t eight, const std::vector<SectorVector>& sectors);

  // Derivatives of what Evaluate() gave for these eight sectors: a row a column.
  void Differentiate(std::size_t eight, RimRow* rows);
  [[nodiscard]] const RimPaths& ByParameters(std::size_t eight) const { return paths_[eight]; }

 private:
  // Values as exposed, before sharpening, are kept with their derivatives in lines along the rays,
  // with room for a sharpening's reach before and after them.
  static constexpr std::size_t kPlain = kRaySharpen;

  void Expose(std::size_t eight, const std::vector<SectorVector>& sectors);
  void MakeKernel(double radius_px);
  void MakeRoom(std::size_t reach);
  void ExtendEnds(float* line) const;
  [[nodiscard]] float* Line(std::size_t eight, std::size_t which) {
    return lines_.data() + (eight * kRayCount + which) * stride_ + room_ * kSide;
  }

  const RimData& data_;
  RingKind kind_;
  std::size_t columns_, room_ = 0, stride_ = 0;
  RimVector rim_{};
  double sigma_ = 1, tone_ = 1, mean_width_ = 1;
  float sharpening_ = 0;
  std::vector<RimPaths> paths_;
  std::vector<float> lines_, values_;
  std::vector<float> kernel_, shares_;
  std::vector<double> weights_;
  double kernel_radius_px_ = 0;
  std::vector<float> places_;
};

}  // namespace endgrade::locate
