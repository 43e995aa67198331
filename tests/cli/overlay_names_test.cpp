#include "cli/overlay_names.h"

#include <gmock/gmock.h>

#include <set>

namespace endgrade::cli {
namespace {

using ::testing::ElementsAre;

TEST(OverlayNames, AreThePicturesNamesWhereThoseDiffer) {
  EXPECT_THAT(OverlayNames({"rack-2/port-07.jpg", "port-08.tiff"}, ".png"),
              ElementsAre("port-07.png", "port-08.png"));
}

TEST(OverlayNames, TellSameNamesInDifferentFoldersApart) {
  EXPECT_THAT(OverlayNames({"lot/a/1.jpg", "lot/b/1.jpg", "lot/b/2.jpg"}, ".jpg"),
              ElementsAre("a-1.jpg.jpg", "b-1.jpg.jpg", "2.jpg"));
}

TEST(OverlayNames, TellSameNamesWithDifferentEndingsApart) {
  EXPECT_THAT(OverlayNames({"1.jpg", "1.png"}, ".png"), ElementsAre("1.jpg.png", "1.png.png"));
}

TEST(OverlayNames, TellNamesApartThatDifferByCaseAlone) {
  EXPECT_THAT(OverlayNames({"a/Port.jpg", "b/port.jpg"}, ".png"),
              ElementsAre("a-Port.jpg.png", "b-port.jpg.png"));
}

TEST(OverlayNames, NumberWhatFolderAndNameDoNotTellApart) {
  EXPECT_THAT(OverlayNames({"x/a/1.jpg", "y/a/1.jpg"}, ".png"),
              ElementsAre("a-1.jpg-1.png", "a-1.jpg-2.png"));
}

TEST(OverlayNames, NeverCollideWithANameThatWasMadeUp) {
  const auto names = OverlayNames(
      {"x/a/1.jpg", "y/a/1.jpg", "a-1.jpg-1.jpg", "a-1.jpg-2.jpg", "z/a-1.jpg-2.png"}, ".png");
  EXPECT_EQ(std::set<std::string>(names.begin(), names.end()).size(), names.size());
}

TEST(OverlayNames, HaveNoControlCharactersAndFitAFileSystem) {
  const auto names = OverlayNames({"a\nb.jpg", std::string(251, 'x') + ".jpg"}, ".png");
  EXPECT_EQ(names[0], "a_b.png");
  EXPECT_EQ(names[1], std::string(200, 'x') + ".png");
}

TEST(OverlayNames, AreNotCutWithinACharacter) {
  std::string name(199, 'x');
  name += "\xC3\xA9.jpg";
  EXPECT_EQ(OverlayNames({name}, ".png")[0], std::string(199, 'x') + ".png");
}

TEST(OverlayNames, StayApartWhenLongNamesAreCut) {
  const std::string start(220, 'x');
  const auto names = OverlayNames({start + "1.jpg", start + "2.jpg"}, ".png");
  EXPECT_NE(names[0], names[1]);
}

}  // namespace
}  // namespace endgrade::cli
