// The noise of a matched response, ring by ring of the face.
#pragma once

#include "endgrade/flatten.h"

#include <vector>

namespace endgrade {

struct Response;

// Noise by ring of the map, looked up by distance from the centre.
class RingNoise {
 public:
  RingNoise() = default;
  RingNoise(const ContrastMap& map, std::vector<double> sigmas);
  [[nodiscard]] float At(float radius_um) const {
    const auto quarter = static_cast<size_t>(4.0F * radius_um);
    return quarter < by_quarter_um_.size() ? by_quarter_um_[quarter] : by_quarter_um_.back();
  }
  // At() for a row of cells.
  void AtEach(const float* radius_um, int count, float* noise) const;
  [[nodiscard]] const std::vector<double>& sigmas() const { return sigmas_; }

  // The least noise within `reach_um` of each distance: what a block of cells can be held against.
  [[nodiscard]] RingNoise LeastWithin(double reach_um) const;

 private:
  std::vector<float> by_quarter_um_;
  std::vector<double> sigmas_;
};

// Robust noise of `response.band`, tails of non-Gaussian grain included, never below what the
// fitted clean face can be trusted for. Dirt in up to half of the sectors of a ring does not count.
[[nodiscard]] RingNoise MeasureResponseNoise(const ContrastMap& map, const Response& response);

}  // namespace endgrade
