// A look at where a feature should be, whether or not the search found anything there.
#pragma once

#include "endgrade/compare.h"

#include <opencv2/core.hpp>

#include <functional>
#include <optional>
#include <vector>

namespace endgrade::compare {

// A picture's relative contrast (residual over background), blurred to a common softness.
struct SoftPicture {
  const Attempt* attempt = nullptr;
  cv::Mat contrast;  // CV_32FC1 of the contrast map's size
  cv::Mat found;     // CV_8UC1: 255 on and beside what the search found
};

// Both pictures at the blur of the softer one.
struct SoftPair {
  SoftPicture before;
  SoftPicture after;
};
[[nodiscard]] SoftPair SoftenBoth(const Attempt& before, const Attempt& after);

// The look, in shares of what the first picture shows: 1 is the same, 0 nothing.
struct Look {
  double share = 0;
  double share_beside = 0;    // the same over what surrounds its place, be it other dirt
  double share_noise = 0;     // standard deviation of the share where there is nothing
  double change_noise = 0;    // and of its change from one picture to the other
  double contrast = 0;        // of the feature where it was found, root of its mean square, signed
  double in_view = 0;         // of its pixels, in the other picture
  double found_fraction = 0;  // of its pixels, where the search found something there
  [[nodiscard]] bool WouldShow(double sigma) const {
    return change_noise > 0 && 1.0 > sigma * change_noise;
  }
};

using Place = std::function<cv::Point2d(cv::Point2d)>;

// Fits the feature's own look in `shown` to what `asked` has at `to_asked` of its place, least
// squares; the noise is the spread of the same fit at other places as far from the centre, where
// nothing was found. Nothing where the feature has no outline.
[[nodiscard]] std::optional<Look> LookFor(const Feature& feature,
                                          const SoftPicture& shown,
                                          const SoftPicture& asked,
                                          const Place& to_asked);

}  // namespace endgrade::compare
