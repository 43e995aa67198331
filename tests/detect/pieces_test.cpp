#include "detect/pieces.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

namespace endgrade {
namespace {

// Cells that are marked by chance, of which `share` are.
cv::Mat RandomMask(int seed, double share) {
  cv::RNG random(static_cast<std::uint64_t>(seed));
  cv::Mat values(61, 83, CV_32FC1);
  random.fill(values, cv::RNG::UNIFORM, 0.0, 1.0);
  return values < share;
}

// The reference is OpenCV's own labelling.
void ExpectAsLabelled(const cv::Mat& mask, Touching touching, int connectivity) {
  cv::Mat labels;
  cv::Mat stats;
  cv::Mat centres;
  const int count =
      cv::connectedComponentsWithStats(mask, labels, stats, centres, connectivity, CV_32S);
  const auto pieces = PiecesOf(mask, touching);
  ASSERT_EQ(pieces.size() + 1, static_cast<std::size_t>(count));
  for (const MaskPiece& piece : pieces) {
    const int label = labels.at<int>(piece.runs.front().y, piece.runs.front().begin);
    const auto* stat = stats.ptr<int>(label);
    EXPECT_EQ(piece.area, stat[cv::CC_STAT_AREA]);
    const cv::Rect box(stat[cv::CC_STAT_LEFT],
                       stat[cv::CC_STAT_TOP],
                       stat[cv::CC_STAT_WIDTH],
                       stat[cv::CC_STAT_HEIGHT]);
    ASSERT_EQ(piece.box, box);
    EXPECT_EQ(cv::countNonZero(MaskOf(piece) != (labels(box) == label)), 0);
  }
}

TEST(PiecesTest, AreThoseOfALabelling) {
  for (int seed = 1; seed <= 20; ++seed) {
    const cv::Mat mask = RandomMask(seed, 0.04 * seed);
    ExpectAsLabelled(mask, Touching::kSides, 4);
    ExpectAsLabelled(mask, Touching::kSidesAndCorners, 8);
  }
}

TEST(PiecesTest, ComeInTheOrderOfTheirTopmostCells) {
  const auto pieces = PiecesOf(RandomMask(7, 0.3), Touching::kSides);
  for (std::size_t i = 1; i < pieces.size(); ++i) {
    const auto& before = pieces[i - 1].runs.front();
    const auto& after = pieces[i].runs.front();
    EXPECT_TRUE(before.y < after.y || (before.y == after.y && before.begin < after.begin));
  }
}

TEST(PiecesTest, OfAnEmptyMaskAreNone) {
  EXPECT_TRUE(PiecesOf(cv::Mat::zeros(5, 7, CV_8UC1), Touching::kSides).empty());
}

// The reference is OpenCV's dilation by the same disc.
TEST(WidenedTest, IsADilation) {
  for (const int reach : {1, 2, 5, 9}) {
    const cv::Mat mask = RandomMask(reach, 0.01);
    const cv::Size size(2 * reach + 1, 2 * reach + 1);
    cv::Mat dilated;
    cv::dilate(mask, dilated, cv::getStructuringElement(cv::MORPH_ELLIPSE, size));
    EXPECT_EQ(cv::countNonZero(Widened(mask, DiscRows(reach)) != dilated), 0) << reach;
  }
}

}  // namespace
}  // namespace endgrade
