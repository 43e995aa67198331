#include "present/number_labels.h"

#include "tests/support/sample_grades.h"

#include <gtest/gtest.h>

#include <cmath>

namespace endgrade {
namespace {

const cv::Size kPicture(1920, 1080);
constexpr double kEm = 24;

FibreGrade FibreWith(int count, double size_um, bool breaks) {
  FibreGrade fibre = CleanFibre(kPicture);
  cv::RNG rng(11);
  for (int i = 0; i < count; ++i) {
    const cv::Point2d centre(rng.uniform(-220.0, 220.0), rng.uniform(-120.0, 120.0));
    Feature feature = RoundFeature(i + 1, centre, size_um, 1);
    if (breaks) feature.breaks = {"b-defects-over-5"};
    PutOnPicture(fibre, std::move(feature));
  }
  return fibre;
}

std::vector<NumberLabel> Labels(const FibreGrade& fibre, FeatureMap* map) {
  const LineSizes sizes(kEm);
  *map = MapFeatures(fibre, Photograph{kPicture, 1, 1}, sizes);
  TextPainter text;
  return PlaceNumbers(*map, kPicture, sizes, kEm, text);
}

TEST(PlaceNumbers, StandInThePictureBesideFeaturesAndApartFromEachOther) {
  for (const int count : {1, 10, 25, 200}) {
    FeatureMap map;
    const auto labels = Labels(FibreWith(count, 6, true), &map);
    EXPECT_GE(labels.size(), std::min<std::size_t>(static_cast<std::size_t>(count), 20));
    for (std::size_t i = 0; i < labels.size(); ++i) {
      const cv::Rect2d& box = labels[i].box;
      EXPECT_TRUE(map.IsFree(box, LineSizes(kEm).Reach())) << labels[i].text;
      EXPECT_TRUE(box.x >= 0 && box.y >= 0 && box.br().x < kPicture.width &&
                  box.br().y < kPicture.height);
      for (std::size_t j = 0; j < i; ++j) EXPECT_EQ((box & labels[j].box).area(), 0);
    }
  }
}

TEST(PlaceNumbers, AreForWhatBreaksARuleOnly) {
  FeatureMap map;
  EXPECT_TRUE(Labels(FibreWith(10, 6, false), &map).empty());
  EXPECT_TRUE(Labels(CleanFibre(kPicture), &map).empty());
  EXPECT_TRUE(map.roi.empty());
}

TEST(PlaceNumbers, AreNoMoreThanAPictureBears) {
  FeatureMap map;
  EXPECT_EQ(Labels(FibreWith(200, 3, true), &map).size(), static_cast<std::size_t>(kMostNumbers));
}

TEST(PlaceNumbers, AreThoseOfTheRecord) {
  FeatureMap map;
  FibreGrade fibre = CleanFibre(kPicture);
  Feature feature = RoundFeature(17, {30, 0}, 5, 1);
  feature.breaks = {"x"};
  PutOnPicture(fibre, feature);
  const auto labels = Labels(fibre, &map);
  ASSERT_EQ(labels.size(), 1U);
  EXPECT_EQ(labels[0].text, "17");
  // No farther from it than its own height.
  const cv::Point2d centre(labels[0].box.x + labels[0].box.width / 2,
                           labels[0].box.y + labels[0].box.height / 2);
  const cv::Point2d away = centre - fibre.features[0].centre_px;
  EXPECT_LT(std::hypot(away.x, away.y), 10 + 2.5 * kEm);
}

// Closed form: distance from a disc's edge is distance from its centre less its radius.
TEST(MapFeatures, DistancesAreThoseFromADisc) {
  FibreGrade fibre = CleanFibre(kPicture);
  PutOnPicture(fibre, RoundFeature(1, {0, 0}, 20, 1));  // radius 40 pixels
  FeatureMap map;
  Labels(fibre, &map);
  // A pixel that the edge touches counts as covered, and its centre is up to 0.71 beyond the edge;
  // the 5 x 5 chamfer is within 2 % (Borgefors 1986), here of 10 pixels.
  constexpr double kTolerance = 0.71 + 0.2;
  for (int i = 0; i < 24; ++i) {
    const double angle = 2 * CV_PI * i / 24;
    for (const double r : {43.0, 46.0, 50.0}) {
      const cv::Point pixel(fibre.scale.centre_px +
                            r * cv::Point2d(std::cos(angle), std::sin(angle)));
      const cv::Point2d from_centre = cv::Point2d(pixel) - fibre.scale.centre_px;
      EXPECT_NEAR(map.DistancePx(pixel), std::hypot(from_centre.x, from_centre.y) - 40, kTolerance);
    }
  }
  EXPECT_EQ(map.DistancePx(cv::Point(fibre.scale.centre_px)), 0);
  EXPECT_GE(map.DistancePx({0, 0}), 15);
}

}  // namespace
}  // namespace endgrade
