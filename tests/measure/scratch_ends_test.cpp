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

TEST_F(ScratchEnds, AMarkThatIsNoLineHidesNoScratch) {
  Region speck;
  speck.cells = {{100, 95}};
  EXPECT_THAT(MayHideAnother(map_, {across_, speck}), ElementsAre(false, false));
  EXPECT_THAT(MayHideAnother(map_, {}), ElementsAre());
}

}  // namespace
}  // namespace endgrade
