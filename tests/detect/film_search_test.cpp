#include "detect/film_search.h"

#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <cmath>

namespace endgrade {
namespace {

// Clouds as strong as the film is deep, and as wide: no height tells the two apart.
test::DrawnFace CloudyFace() {
  test::DrawnFace face;
  face.um_per_px = 0.4;
  face.glass = 220;
  face.ferrule = 110;
  face.grain = 5.0;
  face.noise = 1.5;
  return face;
}

void AddClouds(double height, cv::Mat* luma) {
  cv::Mat clouds(luma->size(), CV_32FC1);
  cv::RNG rng(11);
  rng.fill(clouds, cv::RNG::NORMAL, 0.0, 1.0);
  cv::GaussianBlur(clouds, clouds, cv::Size(), 25.0);  // 10 um
  cv::Scalar mean;
  cv::Scalar spread;
  cv::meanStdDev(clouds, mean, spread);
  for (int y = 0; y < luma->rows; ++y) {
    for (int x = 0; x < luma->cols; ++x) {
      const double radius = std::hypot(x - 0.5 * (luma->cols - 1), y - 0.5 * (luma->rows - 1));
      if (radius * 0.4 < 66) continue;
      const double more = height * static_cast<double>(clouds.at<float>(y, x)) / spread[0];
      luma->at<uchar>(y, x) = cv::saturate_cast<uchar>(luma->at<uchar>(y, x) + more);
    }
  }
}

std::vector<Region> FilmsOn(const test::DrawnFace& face, double clouds) {
  test::Drawn drawn = test::Draw(face);
  AddClouds(clouds, &drawn.frame.luma);
  return SearchFilms(test::FlattenDrawn(drawn, test::ShippedLimits("sm-upc")), {});
}

TEST(SearchFilms, FindsAFilmByItsBorder) {
  test::DrawnFace face = CloudyFace();
  face.discs = {{{60, -78}, 46.0, -0.2}};
  const std::vector<Region> films = FilmsOn(face, 4.0);
  ASSERT_EQ(films.size(), 1U);
  cv::Point2f centre;
  float radius = 0;
  cv::minEnclosingCircle(films[0].edge, centre, radius);
  EXPECT_NEAR(2.0 * static_cast<double>(radius) * 0.4, 46.0, 6.0);
  EXPECT_LT(films[0].depth, 0);
}

TEST(SearchFilms, TakesNoCloudsForFilms) {
  for (const double height : {0.0, 4.0, 8.0, 12.0}) {
    EXPECT_TRUE(FilmsOn(CloudyFace(), height).empty()) << height;
  }
}

TEST(SearchFilms, TakesNoScratchesSideBySideForAFilm) {
  test::DrawnFace face = CloudyFace();
  for (const double off : {80.0, 86.0, 92.0, 98.0}) {
    face.lines.push_back({{off, -60}, {off, 60}, 3.0, -0.5});
  }
  test::Drawn drawn = test::Draw(face);
  const ContrastMap map = test::FlattenDrawn(drawn, test::ShippedLimits("sm-upc"));
  EXPECT_TRUE(SearchFilms(map, DetectRegions(map).regions).empty());
}

}  // namespace
}  // namespace endgrade
