// What many samples tell together, one quantity each.
#pragma once

#include "endgrade/camera.h"

#include <optional>
#include <vector>

namespace endgrade::camera {

// Weighted by the fits' uncertainties; where the values scatter more than those say, the scatter
// decides (Birge's ratio). Tolerance and polish may be the same for all claddings, which may even
// be one cladding: they do not average out.
[[nodiscard]] Uncertain MeanScale(const std::vector<CameraSample>& samples, double* scatter);

// A round cladding may be 1 % out of round (IEC 60793-2-50, from memory), and turned the same way
// in all pictures.
[[nodiscard]] Uncertain MeanAspect(const std::vector<CameraSample>& samples);

[[nodiscard]] Uncertain MiddleBlur(const std::vector<CameraSample>& samples);

// `positions`: of the fibre, independent. With fewer than three, light that falls off alike to all
// sides cannot be told from that of the face, and is taken as even.
[[nodiscard]] std::optional<FlatField> FitFlat(const std::vector<CameraSample>& samples,
                                               int positions);

[[nodiscard]] std::optional<NoiseLaw> FitNoise(const std::vector<CameraSample>& samples);

// The six terms of FlatField at a place of the picture.
[[nodiscard]] std::array<double, 6> FlatTerms(cv::Point2d p_px, cv::Size picture);

// By sample: the index of the place that its fibre is at. Places are `apart_px` and more apart.
[[nodiscard]] std::vector<int> Positions(const std::vector<CameraSample>& samples, double apart_px);

// Dirt that three and more positions agree on.
[[nodiscard]] std::vector<FixedDirt> FindFixedDirt(const std::vector<CameraSample>& samples,
                                                   const std::vector<int>& positions,
                                                   double blur_px);

}  // namespace endgrade::camera
