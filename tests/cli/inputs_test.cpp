#include "cli/inputs.h"

#include "tests/cli/temporary_folder.h"

#include <gmock/gmock.h>

namespace endgrade::cli {
namespace {

namespace fs = std::filesystem;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

TEST(ListInputs, TakesPicturesOfAFolderAndItsFoldersInOrderOfTheirPaths) {
  const TemporaryFolder folder;
  for (const char* name : {"b.JPG",
                           "a.png",
                           "sub/c.tiff",
                           "B.bmp",
                           "notes.txt",
                           ".hidden.jpg",
                           ".cache/d.jpg",
                           "results.ndjson"}) {
    folder.Write(name);
  }
  const Inputs inputs = ListInputs({folder.path().string()});
  EXPECT_THAT(inputs.pictures,
              ElementsAre(folder.path() / "B.bmp",
                          folder.path() / "a.png",
                          folder.path() / "b.JPG",
                          folder.path() / "sub/c.tiff"));
  EXPECT_THAT(inputs.problems, IsEmpty());
}

TEST(ListInputs, KeepsTheGivenOrderAndTakesAnyNamedFile) {
  const TemporaryFolder folder;
  const fs::path odd = folder.Write("no ending");
  const fs::path plain = folder.Write("a.png");
  const fs::path missing = folder.path() / "missing.jpg";
  const Inputs inputs = ListInputs({odd.string(), missing.string(), plain.string()});
  EXPECT_THAT(inputs.pictures, ElementsAre(odd, missing, plain));
}

TEST(ListInputs, TakesAFileOnceHoweverItIsNamed) {
  const TemporaryFolder folder;
  const fs::path file = folder.Write("a.png");
  fs::create_symlink(file, folder.path() / "link.png");
  const Inputs inputs =
      ListInputs({file.string(), (folder.path() / "." / "a.png").string(), folder.path().string()});
  EXPECT_THAT(inputs.pictures, ElementsAre(file));
}

TEST(ListInputs, TakesNoneOfAFolderThatHoldsMoreThanItMay) {
  const TemporaryFolder folder;
  for (const char* name : {"many/a.png", "many/b.png", "many/sub/c.png", "few/d.png"}) {
    folder.Write(name);
  }
  const Inputs inputs =
      ListInputs({(folder.path() / "many").string(), (folder.path() / "few").string()}, 2);
  EXPECT_THAT(inputs.pictures, ElementsAre(folder.path() / "few/d.png"));
  ASSERT_THAT(inputs.problems, SizeIs(1));
  EXPECT_THAT(inputs.problems[0].Text(), HasSubstr("more than 2 pictures"));
  EXPECT_THAT(ListInputs({(folder.path() / "many").string()}, 3).pictures, SizeIs(3));
}

TEST(ListInputs, DoesNotFollowALinkToAFolderRoundInCircles) {
  const TemporaryFolder folder;
  folder.Write("a.png");
  fs::create_directory_symlink(folder.path(), folder.path() / "again");
  EXPECT_THAT(ListInputs({folder.path().string()}).pictures, SizeIs(1));
}

TEST(ListInputs, AFolderWithoutPicturesIsAProblem) {
  const TemporaryFolder folder;
  folder.Write("notes.txt");
  const Inputs inputs = ListInputs({folder.path().string()});
  ASSERT_THAT(inputs.problems, SizeIs(1));
  EXPECT_THAT(inputs.problems[0].Text(), HasSubstr("no picture in this folder"));
}

TEST(ListInputs, ALinkThatLeadsNowhereIsTakenSoThatItIsReported) {
  const TemporaryFolder folder;
  fs::create_symlink("gone.png", folder.path() / "a.png");
  EXPECT_THAT(ListInputs({folder.path().string()}).pictures, SizeIs(1));
}

bool MayWrite(const fs::path& out, const std::vector<std::string>& paths) {
  return !OutputProblem(out, paths, ListInputs(paths)).has_value();
}

TEST(OutputProblem, KeepsResultsOutOfTheInputsFolders) {
  const TemporaryFolder folder;
  const std::string picture = folder.Write("in/sub/a.png").string();
  const std::string in = (folder.path() / "in").string();
  EXPECT_TRUE(MayWrite(folder.path() / "out", {in}));
  EXPECT_TRUE(MayWrite(folder.path() / "in-2", {in})) << "only its name begins alike";
  EXPECT_TRUE(MayWrite(folder.path(), {in})) << "beside the folder, not beside a picture";
  EXPECT_FALSE(MayWrite(in, {in}));
  EXPECT_FALSE(MayWrite(folder.path() / "in/out", {in})) << "the next run would read it";
  EXPECT_FALSE(MayWrite(folder.path() / "in/../in/out/", {in}));
  EXPECT_FALSE(MayWrite(folder.path() / "in/sub", {picture})) << "beside the picture";
  EXPECT_TRUE(MayWrite(folder.path() / "in/sub/out", {picture}))
      << "a named file is not its folder";
}

TEST(OutputProblem, KeepsOverlaysOffPicturesThatAreGradedAgain) {
  const TemporaryFolder folder;
  const std::string overlay = folder.Write("out/overlays/a.png").string();
  EXPECT_FALSE(MayWrite(folder.path() / "out", {overlay}));
  EXPECT_FALSE(MayWrite(folder.path() / "out", {(folder.path() / "out/overlays").string()}));
}

TEST(OutputProblem, SeesThroughLinks) {
  const TemporaryFolder folder;
  const std::string picture = folder.Write("in/a.png").string();
  fs::create_directory_symlink(folder.path() / "in", folder.path() / "door");
  EXPECT_FALSE(MayWrite(folder.path() / "door", {picture}));
  fs::create_directory(folder.path() / "links");
  fs::create_symlink(picture, folder.path() / "links/a.png");
  const std::string link = (folder.path() / "links/a.png").string();
  EXPECT_FALSE(MayWrite(folder.path() / "links", {link}));
  EXPECT_FALSE(MayWrite(folder.path() / "in", {link}));
}

}  // namespace
}  // namespace endgrade::cli
