// What is known of a Gaussian by heart.
#pragma once

namespace endgrade {

inline constexpr double kFwhmPerSigma = 2.354820045;  // full width at half maximum: 2 sqrt(2 ln 2)

}  // namespace endgrade
