// Colours, and blending them into a picture.
#pragma once

#include <opencv2/core.hpp>

#include <cstdint>

namespace endgrade {

using Colour = cv::Vec3b;  // blue, green, red

// M. Okabe and K. Ito, "Color Universal Design" (2008): eight colours that people of all kinds of
// colour vision tell apart. From memory of the page.
inline const Colour kOrange{0, 159, 230};
inline const Colour kSkyBlue{233, 180, 86};
inline const Colour kBluishGreen{115, 158, 0};
inline const Colour kYellow{66, 228, 240};
inline const Colour kVermillion{0, 94, 213};
inline const Colour kBlack{0, 0, 0};

inline const Colour kWhite{255, 255, 255};
inline const Colour kGrey{89, 89, 89};  // on white, 7 to 1
inline const Colour kPaleGrey{224, 224, 224};

// `alpha`: 0 leaves the pixel, 255 replaces it.
inline void BlendPixel(cv::Vec3b& pixel, const Colour& colour, int alpha) {
  for (int i = 0; i < 3; ++i) {
    const int mixed = pixel[i] * (255 - alpha) + colour[i] * alpha;
    pixel[i] = static_cast<std::uint8_t>((mixed + 127) / 255);
  }
}

// Blends `colour` into `picture` (CV_8UC3) where `coverage` (CV_8UC1) says, its top-left pixel at
// `at`; what is outside the picture is left away. `opacity` within [0, 1].
void BlendCoverage(cv::Mat& picture,
                   const cv::Mat& coverage,
                   cv::Point at,
                   const Colour& colour,
                   double opacity = 1.0);

// A filled rectangle with rounded corners, smooth at its edges.
void FillRounded(cv::Mat& picture, const cv::Rect2d& box, double radius, const Colour& colour);

// A straight line with round ends, smooth at its edges.
void DrawSegment(
    cv::Mat& picture, cv::Point2d from, cv::Point2d to, double width, const Colour& colour);

}  // namespace endgrade
