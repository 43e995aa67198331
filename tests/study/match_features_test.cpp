#include "study/match_features.h"

#include <gtest/gtest.h>

#include <cmath>

namespace endgrade::study {
namespace {

using summary::Mark;

Mark At(double x_um, double y_um, double size_um, bool scratch = false) {
  Mark mark;
  mark.x_um = x_um;
  mark.y_um = y_um;
  mark.size_um = mark.diameter_um = size_um;
  mark.scratch = scratch;
  return mark;
}

Mark Turned(Mark mark, double degrees) {
  const double angle = degrees * 3.14159265358979 / 180;
  const double x = mark.x_um * std::cos(angle) - mark.y_um * std::sin(angle);
  mark.y_um = mark.x_um * std::sin(angle) + mark.y_um * std::cos(angle);
  mark.x_um = x;
  return mark;
}

TEST(MatchFeatures, FindsTheSameFeatureInEveryPhotograph) {
  const auto matched = MatchFeatures({{At(30, 0, 5), At(-60, 20, 8)},
                                      {At(-61, 21, 8.4), At(31, 1, 5.2)},
                                      {At(29, -1, 4.8), At(-60, 20, 7.9)}});
  ASSERT_EQ(matched.size(), 2u);
  EXPECT_EQ(matched[0].sizes_um, (std::vector<double>{8, 8.4, 7.9}));
  EXPECT_EQ(matched[1].sizes_um, (std::vector<double>{5, 5.2, 4.8}));
}

TEST(MatchFeatures, DropsWhatOnePhotographDoesNotShow) {
  EXPECT_EQ(MatchFeatures({{At(30, 0, 5), At(0, 50, 3)}, {At(30, 0, 5)}}).size(), 1u);
  EXPECT_TRUE(MatchFeatures({{At(30, 0, 5)}, {}}).empty());
  EXPECT_TRUE(MatchFeatures({{At(30, 0, 5)}}).empty());
  EXPECT_TRUE(MatchFeatures({}).empty());
}

TEST(MatchFeatures, KeepsKindsApart) {
  EXPECT_TRUE(MatchFeatures({{At(30, 0, 5)}, {At(30, 0, 5, true)}}).empty());
}

TEST(MatchFeatures, GivesEachFeatureToOneOnly) {
  const auto matched = MatchFeatures({{At(30, 0, 5), At(32, 0, 5)}, {At(31.9, 0, 5)}});
  EXPECT_EQ(matched.size(), 1u);
}

TEST(MatchFeatures, TurnsAFaceThatLaidOtherwise) {
  const std::vector<Mark> face = {At(30, 5, 5), At(-60, 20, 8), At(10, -80, 6), At(45, 45, 4)};
  std::vector<Mark> turned;
  for (const Mark& mark : face) turned.push_back(Turned(mark, 117));
  EXPECT_EQ(MatchFeatures({face, turned}).size(), 4u);
}

}  // namespace
}  // namespace endgrade::study
