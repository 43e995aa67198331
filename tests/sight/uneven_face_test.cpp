// Films and smudges without a border that closes around them: faces that passed with them once.
#include "endgrade/measure.h"
#include "endgrade/sight.h"
#include "tests/support/drawn_face.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include <algorithm>

namespace endgrade {
namespace {

std::vector<std::string> DoubtsAbout(const test::DrawnFace& face,
                                     const std::string& limits_id = "sm-upc") {
  const Limits limits = test::ShippedLimits(limits_id);
  const test::Drawn drawn = test::Draw(face);
  const ZoneMap zones = LayZones(drawn.frame.luma.size(), drawn.scale, limits);
  const ContrastMap map = Flatten(drawn.frame, drawn.fibre, drawn.scale, zones);
  const Detection detection = DetectRegions(map);
  const Sight sight =
      AssessSight({drawn.frame, drawn.fibre, drawn.scale, zones, map, detection, {}, limits});
  std::vector<std::string> codes;
  for (const Reason& doubt : sight.quality.doubts) codes.push_back(doubt.code);
  return codes;
}

const std::vector<std::string> kNone;
const std::vector<std::string> kUneven = {"uneven_face"};
const std::vector<std::string> kSurround = {"core_surround"};

TEST(UnevenFace, NoneOnCleanFaces) {
  for (std::uint64_t seed = 51; seed < 61; ++seed) {
    test::DrawnFace face;
    face.seed = seed;
    face.grain = seed % 3 == 0 ? 14.0 : 4.0;
    face.tilt_of_light = seed % 2 == 0 ? 0.1 : 0.6;
    face.core = seed % 4 == 0 ? 240.0 : seed % 4 == 1 ? 75.0 : 100.0;
    face.blur_um = seed % 5 == 0 ? 1.0 : 0.5;
    EXPECT_EQ(DoubtsAbout(face), kNone) << seed;
  }
}

// So large a disc has a straight border, with the fibre outside of it or inside.
TEST(UnevenFace, TwoFilmsThatRunOutOfThePicture) {
  test::DrawnFace face;
  face.grain = 8.0;
  face.discs = {{{4000 + 85, 0}, 8000, -0.22}, {{-4000 - 85, 0}, 8000, -0.22}};
  EXPECT_EQ(DoubtsAbout(face), kUneven);
  // What light does is fainter.
  face.discs = {{{4000 + 85, 0}, 8000, -0.05}};
  EXPECT_EQ(DoubtsAbout(face), kNone);
}

TEST(UnevenFace, AWideFilmOnTheGlass) {
  test::DrawnFace face;
  face.core = face.glass;
  face.blur_um = 1.0;
  face.discs = {{{5, 3}, 84.0, 0.15}};
  const auto doubts = DoubtsAbout(face);
  EXPECT_TRUE(std::find(doubts.begin(), doubts.end(), "uneven_face") != doubts.end());
}

TEST(UnevenFace, AThinLineAcrossThePictureIsNoEdge) {
  test::DrawnFace face;
  face.lines = {{{-150, 30}, {150, 30}, 0.8, 1.0}};
  EXPECT_EQ(DoubtsAbout(face), kNone);
}

TEST(CoreSurround, ADiscOrARingThatIsConcentricWithTheCore) {
  test::DrawnFace disc;
  disc.core_radius_um = 7.3;
  disc.core = 60;
  EXPECT_EQ(DoubtsAbout(disc), kSurround);
  test::DrawnFace ring;
  ring.rings = {{6.8, 1.6, -0.35}};
  EXPECT_EQ(DoubtsAbout(ring), kSurround);
}

// A lit core is brighter than all around it, a dark one darker, and neither by residue.
TEST(CoreSurround, NothingAboutCoresOfEveryBrightness) {
  for (const double core : {40.0, 60.0, 80.0, 90.0, 110.0, 160.0, 250.0}) {
    test::DrawnFace face;
    face.core = core;
    EXPECT_EQ(DoubtsAbout(face), kNone) << core;
  }
}

}  // namespace
}  // namespace endgrade
