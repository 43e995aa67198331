#include "measure/scratch_ends.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <vector>

namespace endgrade {
namespace {

using testing::ElementsAre;

Region Line(std::vector<cv::Point2d> spine) {
  Region line;
  line.is_line = true;
  line.line_width_cells = 4;
  line.spine = std::move(spine);
  return line;
}

class ScratchEnds : public testing::Test {
 protected:
  ScratchEnds() {
    map_.um_per_cell = 0.25;
    map_.blur_sigma_cells = 2;
  }
  ContrastMap map_;
  const Region across_ = Line({{0, 100}, {100, 100}, {200, 100}});
};

TEST_F(ScratchEnds, OneThatStopsAtAnotherMayGoOnBeneathIt) {
  EXPECT_THAT(MayHideAnother(map_, {across_, Line({{100, 0}, {100, 93}})}),
              ElementsAre(true, true));
  EXPECT_THAT(MayHideAnother(map_, {Line({{100, 110}, {150, 200}}), across_}),
              ElementsAre(true, true));
}

TEST_F(ScratchEnds, CrossedOrApartTheyHideNothing) {
  EXPECT_THAT(MayHideAnother(map_, {across_, Line({{100, 0}, {100, 200}})}),
              ElementsAre(false, false));
  EXPECT_THAT(MayHideAnother(map_, {across_, Line({{100, 0}, {100, 80}})}),
              ElementsAre(false, false));
}

TEST_F(ScratchEnds, AlongAStrongerOneItIsLostSooner) {
  EXPECT_THAT(MayHideAnother(map_, {across_, Line({{-100, 130}, {80, 120}})}),
              ElementsAre(true, true));
  EXPECT_THAT(MayHideAnother(map_, {across_, Line({{-100, 140}, {80, 130}})}),
              ElementsAre(false, false));
}

TEST_F(ScratchEnds, WhereTwoMeetAtTheirEndsNothingIsHidden) {
  EXPECT_THAT(MayHideAnother(map_, {across_, Line({{202, 102}, {300, 180}})}),
              ElementsAre(false, false));
}

// What is left of a scratch that runs along a stronger one, where it parts from it.
TEST_F(ScratchEnds, AFaintMarkAtTheSideOfOneMayBeLeftOfAnother) {
  Region line = across_;
  line.depth = 40;
  const auto with_mark = [&](cv::Point at, double depth) {
    Region mark;
    mark.cells = {at, at + cv::Point(1, 0)};
    mark.depth = depth;
    return MayHideAnother(map_, {line, mark});
  };
  EXPECT_THAT(with_mark({100, 95}, -4), ElementsAre(true, false));
  EXPECT_THAT(with_mark({100, 95}, -30), ElementsAre(false, false));  // a speck of its own
  EXPECT_THAT(with_mark({100, 80}, -4), ElementsAre(false, false));   // too far off
  EXPECT_THAT(with_mark({198, 100}, -4), ElementsAre(false, false));  // at its end
}

TEST_F(ScratchEnds, AMarkThatIsNoLineHidesNoScratch) {
  Region speck;
  speck.cells = {{100, 95}};
  EXPECT_THAT(MayHideAnother(map_, {across_, speck}), ElementsAre(false, false));
  EXPECT_THAT(MayHideAnother(map_, {}), ElementsAre());
}

}  // namespace
}  // namespace endgrade
