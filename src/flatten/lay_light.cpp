#include "flatten/lay_light.h"

#include "core/wide.h"
#include "flatten/ramp.h"

#include <algorithm>
#include <cstdint>

namespace endgrade {
namespace {

constexpr int kGrid = LightGrid::kGrid;

// Where the materials meet, and what the free-form ring about that place shows.
struct Rim {
  double radius_um;  // of the cladding
  double from_um;    // the ring's,
  double to_um;
  double table_from_um;  // and its table's
  double table_step_um;
  std::int32_t table_last;
  const double* table;
};

// A block's light, as LightGrid reads it.
struct BlockLight {
  LightGrid::Block glass, ferrule, uneven_glass, uneven_ferrule;
};

ENDGRADE_WIDE void BlendRim(const Rim& rim,
                            const BlockLight& light,
                            const float* radii,
                            float* __restrict out) {
  for (size_t i = 0; i < kGrid; ++i) {
    const auto radius = static_cast<double>(radii[i]);
    const double in_rim = std::min(Ramp(radius, rim.from_um, rim.from_um + 3.0),
                                   1.0 - Ramp(radius, rim.to_um - 1.5, rim.to_um));
    const auto past = static_cast<float>(Ramp(radius, rim.radius_um - 1, rim.radius_um + 1));
    const double place = std::clamp(
        (radius - rim.table_from_um) / rim.table_step_um, 0.0, static_cast<double>(rim.table_last));
    const auto low = static_cast<std::int32_t>(place);
    const std::int32_t high = std::min(low + 1, rim.table_last);
    const double part = place - static_cast<double>(low);
    const double even = rim.table[low] + part * (rim.table[high] - rim.table[low]);
    const float uneven = (1.0F - past) * light.uneven_glass[i] + past * light.uneven_ferrule[i];
    const float ring = static_cast<float>(even) + uneven;
    const float beside = radius < rim.radius_um ? light.glass[i] : light.ferrule[i];
    out[i] = beside + static_cast<float>(in_rim) * (ring - beside);
  }
}

}  // namespace

cv::Mat LayLight(const ContrastMap& map,
                 const FaceRings& rings,
                 const RingTable& rim_table,
                 LightGrid&& light) {
  static constexpr double kNone = 0.0;
  const bool empty = rim_table.values.empty();
  const Rim rim{rings.cladding_radius_um,
                rings.rim_from_um,
                rings.rim_to_um,
                rim_table.from_um,
                rim_table.step_um,
                empty ? 0 : static_cast<std::int32_t>(rim_table.values.size()) - 1,
                empty ? &kNone : rim_table.values.data()};
  // No cell of a block is further from its middle.
  const double block_um = 0.75 * kGrid * map.um_per_cell;
  const double ring_from_um = rim.from_um - block_um;
  const double ring_to_um = rim.to_um + block_um;
  cv::Mat clean(map.level.size(), CV_32FC1);
  // Of the block whose middle is so far out; kSurfaces where the ring is not far.
  const auto surface_at = [&](float radius) {
    const auto near = static_cast<double>(radius);
    if (near > ring_to_um || near < ring_from_um) {
      return near < rim.radius_um ? LightGrid::kGlass : LightGrid::kFerrule;
    }
    return LightGrid::kSurfaces;
  };
  const auto blend = [&](int block, const float* radii, float* out) {
    BlockLight here;
    light.Read(LightGrid::kGlass, block, 1, here.glass.data());
    light.Read(LightGrid::kFerrule, block, 1, here.ferrule.data());
    light.Read(LightGrid::kUnevenGlass, block, 1, here.uneven_glass.data());
    light.Read(LightGrid::kUnevenFerrule, block, 1, here.uneven_ferrule.data());
    BlendRim(rim, here, radii, out);
  };
  const int blocks = clean.cols / kGrid;
  const auto left = static_cast<size_t>(clean.cols % kGrid);
  for (int row = 0; row < clean.rows; ++row) {
    light.GoToRow(row);
    const auto* radii = map.radius_um.ptr<float>(row);
    auto* out = clean.ptr<float>(row);
    for (int block = 0; block < blocks;) {
      const auto surface = surface_at(radii[block * kGrid + kGrid / 2]);
      if (surface == LightGrid::kSurfaces) {
        blend(block, radii + block * kGrid, out + block * kGrid);
        ++block;
        continue;
      }
      const int first = block++;
      while (block < blocks && surface_at(radii[block * kGrid + kGrid / 2]) == surface) ++block;
      light.Read(surface, first, block - first, out + first * kGrid);
    }
    if (left == 0) continue;
    LightGrid::Block last_radii{};
    LightGrid::Block last;
    std::copy_n(radii + blocks * kGrid, left, last_radii.begin());
    const auto surface = surface_at(last_radii[left / 2]);
    if (surface == LightGrid::kSurfaces) {
      blend(blocks, last_radii.data(), last.data());
    } else {
      light.Read(surface, blocks, 1, last.data());
    }
    std::copy_n(last.begin(), left, out + blocks * kGrid);
  }
  return clean;
}

}  // namespace endgrade
