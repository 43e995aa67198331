#include "endgrade/flatten.h"

#include "endgrade/lay.h"
#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

namespace endgrade {
namespace {

double MeanResidual(const ContrastMap& map, cv::Point2d um, double radius_um) {
  double sum = 0;
  int count = 0;
  for (int y = 0; y < map.residual.rows; ++y) {
    for (int x = 0; x < map.residual.cols; ++x) {
      const cv::Vec2d at =
          map.um_from_cell * cv::Vec2d(x - map.centre_cell.x, y - map.centre_cell.y);
      if (std::hypot(at[0] - um.x, at[1] - um.y) > radius_um) continue;
      sum += static_cast<double>(map.residual.at<float>(y, x));
      ++count;
    }
  }
  return sum / count;
}

TEST(Flatten, LeavesOnlyTheNoiseOfACleanFace) {
  const test::DrawnFace face;
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  // Rounding to whole grey levels adds 1/12 to the variance.
  EXPECT_NEAR(map.glass_noise, std::hypot(face.noise, 0.289), 0.1);
  for (const double x : {-45.0, -20.0, 15.0, 40.0}) {
    EXPECT_NEAR(MeanResidual(map, {x, 10.0}, 6.0), 0.0, 0.4) << x;
  }
}

TEST(Flatten, DoesNotTakeAParticleOnTheCentreForTheFace) {
  test::DrawnFace face;
  face.core_radius_um = 0;
  face.discs = {{{0, 0}, 8.0, -0.4}};
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  EXPECT_LT(MeanResidual(map, {0, 0}, 2.5), -0.3 * face.glass);
}

TEST(Flatten, DoesNotTakeARingAroundTheCentreForTheFace) {
  test::DrawnFace face;
  face.rings = {{30.0, 4.0, -0.2}};
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  EXPECT_LT(MeanResidual(map, {30.0, 0}, 1.0), -0.12 * face.glass);
}

TEST(Flatten, FindsAPitInTheMiddleOfALitCore) {
  test::DrawnFace face;
  face.core = 200;
  face.discs = {{{0, 0}, 2.0, -0.5}};
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  EXPECT_LT(MeanResidual(map, {0, 0}, 0.6), -20.0);
}

// A lit core's light, spread as far as lenses spread it.
void AddGlow(const test::DrawnFace& face, double height, cv::Mat* luma) {
  for (int y = 0; y < luma->rows; ++y) {
    for (int x = 0; x < luma->cols; ++x) {
      const double r_um = face.um_per_px * std::hypot(x - 0.5 * (luma->cols - 1),  //
                                                      y - 0.5 * (luma->rows - 1));
      auto& value = luma->at<uchar>(y, x);
      value = cv::saturate_cast<uchar>(value + height / (1.0 + std::pow(r_um / 8.0, 2.0)));
    }
  }
}

TEST(Flatten, TakesOffTheGlowOfALitCoreButNoFilmAroundIt) {
  test::DrawnFace face;
  face.core = 200;
  test::Drawn drawn = test::Draw(face);
  AddGlow(face, 25.0, &drawn.frame.luma);
  const ContrastMap map = test::FlattenDrawn(drawn, test::ShippedLimits("sm-upc"));
  EXPECT_NEAR(MeanResidual(map, {12, 0}, 2.0), 0.0, 2.0);  // 8 before it is taken off
  EXPECT_NEAR(MeanResidual(map, {-10, 12}, 2.0), 0.0, 2.0);
  // As round as a glow, but even up to its edge.
  face.discs = {{{0, 0}, 32.0, 0.2}};
  const ContrastMap film = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  EXPECT_GT(MeanResidual(film, {14, 0}, 1.0), 0.05 * face.glass);
}

// What a camera's stripes do to every pixel, rounded again.
void AddStripes(double contrast, double period_px, double turn_deg, cv::Mat* luma) {
  const double wave = 2.0 * CV_PI / period_px;
  const double turn = turn_deg * CV_PI / 180.0;
  for (int y = 0; y < luma->rows; ++y) {
    for (int x = 0; x < luma->cols; ++x) {
      const double phase = wave * (x * std::cos(turn) + y * std::sin(turn));
      auto& value = luma->at<uchar>(y, x);
      value = cv::saturate_cast<uchar>(value * (1.0 + contrast * std::sin(phase)));
    }
  }
}

// Sharpening lifts the inside of a bright core's edge over its middle.
TEST(Flatten, DoesNotTakeASharpenedEdgeForTheHeightOfACore) {
  test::DrawnFace face;
  face.um_per_px = 0.23;
  face.size = {1100, 1100};
  face.blur_um = 0.25;
  face.core = 190;
  test::Drawn drawn = test::Draw(face);
  cv::Mat blurred;
  cv::GaussianBlur(drawn.frame.luma, blurred, cv::Size(), 1.5);
  cv::addWeighted(drawn.frame.luma, 1.8, blurred, -0.8, 0, drawn.frame.luma);
  const ContrastMap map = test::FlattenDrawn(drawn, test::ShippedLimits("sm-upc"));
  EXPECT_NEAR(MeanResidual(map, {0, 0}, 3.0), 0.0, 1.5);
}

// What a field stop hides says nothing of how the light slopes on the ferrule that is seen.
TEST(Flatten, LevelsTheLightBesideAFieldStop) {
  test::DrawnFace face;
  face.tilt_of_light = 0.3;
  test::Drawn drawn = test::Draw(face);
  cv::Mat open = cv::Mat::zeros(drawn.frame.luma.size(), CV_8UC1);
  cv::circle(open, {350, 380}, 235, cv::Scalar(255), cv::FILLED);
  drawn.frame.luma.setTo(2, open == 0);
  const Limits limits = test::ShippedLimits("sm-upc");
  ZoneMap zones = LayZones(drawn.frame.luma.size(), drawn.scale, limits);
  HideFieldStop(drawn.frame, drawn.scale, &zones);
  ASSERT_FALSE(zones.hidden.empty());
  const ContrastMap map = Flatten(drawn.frame, drawn.fibre, drawn.scale, zones);
  for (const cv::Point2d at : {cv::Point2d(75, 0), cv::Point2d(-90, 0), cv::Point2d(-8, 80)}) {
    EXPECT_NEAR(MeanResidual(map, at, 5.0), 0.0, 2.0) << at;
  }
}

TEST(Flatten, TakesOffStripesThatTheCameraLaysOverAll) {
  const test::DrawnFace face;
  const Limits limits = test::ShippedLimits("sm-upc");
  const double plain = test::FlattenDrawn(test::Draw(face), limits).glass_noise;
  for (const double period_px : {7.3, 12.0, 21.7}) {
    test::Drawn striped = test::Draw(face);
    AddStripes(0.02, period_px, 31.0, &striped.frame.luma);
    // Left in, they would add half of 1.8 squared to the variance: 2.0 in place of 1.5. Rounding
    // twice adds another 1/12.
    EXPECT_NEAR(test::FlattenDrawn(striped, limits).glass_noise, plain, 0.12) << period_px;
  }
}

TEST(Flatten, LeavesParallelScratchesWhereTheyAre) {
  test::DrawnFace face;
  for (const double x : {-40.0, -31.0, -24.0, -13.0, -5.0, 8.0, 15.0, 27.0, 33.0}) {
    face.lines.push_back({{x, -50.0}, {x + 20.0, 50.0}, 1.5, -0.06});
  }
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  // Blurred over 0.5 um, two thirds of a bar 1.5 um wide are left within 0.5 um of its middle.
  for (const double x : {-31.0, -5.0, 15.0}) {
    EXPECT_LT(MeanResidual(map, {x + 10.0, 0.0}, 0.5), -0.024 * face.glass) << x;
  }
}

TEST(Flatten, FollowsARimThatIsNotWhereItWasFitted) {
  const test::DrawnFace face;
  test::Drawn drawn = test::Draw(face);
  drawn.fibre.cladding.centre_px.x += 0.4;  // 0.16 um
  drawn.scale.centre_px.x += 0.4;
  const ContrastMap map = test::FlattenDrawn(drawn, test::ShippedLimits("sm-upc"));
  for (const double angle : {0.0, 1.0, 2.0, 3.0, 4.0, 5.0}) {
    const cv::Point2d at(62.5 * std::cos(angle), 62.5 * std::sin(angle));
    EXPECT_NEAR(MeanResidual(map, at, 1.0), 0.0, 2.0) << angle;
  }
}

TEST(Flatten, DoesNotTakeAChipForTheRim) {
  test::DrawnFace face;
  face.discs = {{{61.0, 0}, 8.0, -0.5}};
  const ContrastMap map = test::FlattenDrawn(test::Draw(face), test::ShippedLimits("sm-upc"));
  EXPECT_LT(MeanResidual(map, {61.0, 0}, 2.0), -0.3 * face.glass);
}

TEST(Flatten, PlacesCellsWhereTheirPixelsAre) {
  ContrastMap map;
  map.roi_px = {10, 20, 30, 30};
  map.cell_px = 3;
  EXPECT_EQ(map.PxFromCell({0, 0}), cv::Point2d(11, 21));  // the middle of pixels 10 to 12
  EXPECT_EQ(map.CellFromPx({11, 21}), cv::Point2d(0, 0));
}

}  // namespace
}  // namespace endgrade
