#include "detect/line_transform.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <cmath>

namespace endgrade {
namespace {

LineField WholeDisc(cv::Size size) {
  LineField field;
  field.centre = {0.5 * (size.width - 1), 0.5 * (size.height - 1)};
  field.um_from_cell = cv::Matx22d::eye();
  field.outer_um = 0.5 * size.width;
  return field;
}

TEST(LineField, SharesASegmentByItsChord) {
  LineField field;
  field.centre = {50, 50};
  field.um_from_cell = cv::Matx22d::eye();
  field.inner_um = 10;
  field.outer_um = 40;
  // From the left border through the centre to the right one: 100 long, 80 in the outer circle, 20
  // of them in the inner one.
  EXPECT_NEAR(field.ShareInside({0, 50}, {100, 50}, {101, 101}), 0.60, 1e-9);
  EXPECT_NEAR(field.ShareInside({0, 5}, {100, 5}, {101, 101}), 0.0, 1e-9);
}

TEST(LineField, SharesManySegmentsAsItSharesEach) {
  LineField field;
  field.centre = {49.5, 51.5};
  field.um_from_cell = {0.9, 0.1, 0.0, 1.1};
  field.outer_um = 45;
  const cv::Size size(96, 101);
  for (const double inner_um : {0.0, 12.0}) {
    field.inner_um = inner_um;
    Segments segments;
    cv::RNG random(7);
    for (int i = 0; i < 63; ++i) {  // fifteen fours and three more
      const cv::Point2d from(random.uniform(-20, 120), random.uniform(-20, 120));
      segments.Add(from, from + cv::Point2d(random.uniform(-64, 64) / 8 * 8, 63));  // some upright
    }
    Segments::Each shares;
    field.SharesInside(segments, size, &shares);
    for (size_t i = 0; i < segments.count; ++i) {
      const cv::Point2d a(segments.x[i], segments.y[i]);
      const cv::Point2d b = a + cv::Point2d(segments.along_x[i], segments.along_y[i]);
      EXPECT_EQ(shares[i], field.ShareInside(a, b, size)) << i;
    }
  }
}

TEST(SumLines, FindsALineTooFaintForAnyOneCell) {
  cv::Mat score(200, 200, CV_32F);
  cv::RNG random(3);
  random.fill(score, cv::RNG::NORMAL, 0.0, 1.0);
  // Three cells wide, as any line is after the search's own smoothing.
  for (int x = 30; x < 170; ++x) {
    for (int y = -1; y <= 1; ++y) score.at<float>(cvRound(60 + 0.4 * x) + y, x) += 0.9F;
  }
  SpreadSamples samples;
  const auto found = SumLines(score, WholeDisc(score.size()), {}, &samples);
  ASSERT_FALSE(found.empty());
  const LineCandidate& best = found.front();
  const double slope = (best.to.y - best.from.y) / (best.to.x - best.from.x);
  EXPECT_NEAR(slope, 0.4, 0.05);
  EXPECT_GT(best.sign, 0.0F);
  EXPECT_NEAR(best.from.y - 0.4 * best.from.x, 60.0, 3.0);
}

TEST(SumLines, SeesNoLinesInNoise) {
  SpreadSamples samples;
  int seen = 0;
  for (int seed = 0; seed < 10; ++seed) {
    cv::Mat score(256, 256, CV_32F);
    cv::RNG random(static_cast<std::uint64_t>(seed) + 100);
    random.fill(score, cv::RNG::NORMAL, 0.0, 1.0);
    seen += static_cast<int>(SumLines(score, WholeDisc(score.size()), {}, &samples).size());
  }
  EXPECT_EQ(seen, 0);
}

}  // namespace
}  // namespace endgrade
