#include "locate/rim_frame.h"

#include <gtest/gtest.h>

#include <cmath>

namespace endgrade::locate {
namespace {

TEST(RimFrame, CircleBecomesAnEllipseOfEqualAxes) {
  const Ellipse ellipse = RimFrame::Circle({10, 20}, 7).ToEllipse();
  EXPECT_DOUBLE_EQ(ellipse.semi_major_px, 7);
  EXPECT_DOUBLE_EQ(ellipse.semi_minor_px, 7);
  EXPECT_DOUBLE_EQ(ellipse.centre_px.x, 10);
}

// diag(3, 2) turned by 30 degrees: R diag(3, 2) R^T by hand.
TEST(RimFrame, TellsAxesAndAngle) {
  const double c = std::cos(CV_PI / 6);
  const double s = std::sin(CV_PI / 6);
  const RimFrame frame{{0, 0}, {3 * c * c + 2 * s * s, c * s, c * s, 3 * s * s + 2 * c * c}};
  const Ellipse ellipse = frame.ToEllipse();
  EXPECT_NEAR(ellipse.semi_major_px, 3, 1e-12);
  EXPECT_NEAR(ellipse.semi_minor_px, 2, 1e-12);
  EXPECT_NEAR(ellipse.angle_deg, 30, 1e-9);
  EXPECT_NEAR(ellipse.NormalisedRadius(frame.At(0.6, 0.8, 1.0)), 1.0, 1e-12);
}

// Small offsets are exact to first order: a rim moved by 0.1 % lies within 1e-6 of where the offset
// says, measured along the ray.
TEST(RimFrame, MovesItsRimByTheOffset) {
  const RimFrame frame = RimFrame::Circle({5, 5}, 100);
  const RimOffset offset{1e-3, -2e-3, 1e-3, 5e-4, -5e-4};
  const Ellipse moved = frame.Moved(offset).ToEllipse();
  for (int degree = 0; degree < 360; degree += 15) {
    const double c = std::cos(degree * CV_PI / 180);
    const double s = std::sin(degree * CV_PI / 180);
    const cv::Point2d expected = frame.At(c, s, 1.0 + offset.At(c, s));
    EXPECT_NEAR(moved.NormalisedRadius(expected), 1.0, 1e-5) << degree;
  }
}

// The centre of a 4 x 4 block of pixels 0 to 3 is at 1.5.
TEST(RimFrame, ReducesAboutTheCornersOfPixels) {
  const RimFrame reduced = RimFrame::Circle({1.5, 5.5}, 8).Reduced(4);
  EXPECT_DOUBLE_EQ(reduced.centre.x, 0.0);
  EXPECT_DOUBLE_EQ(reduced.centre.y, 1.0);
  EXPECT_DOUBLE_EQ(reduced.Radius(), 2.0);
  EXPECT_DOUBLE_EQ(reduced.Enlarged(4).centre.x, 1.5);
}

}  // namespace
}  // namespace endgrade::locate
