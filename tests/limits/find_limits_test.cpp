// Limits by ID, and the folder they are found in.
#include "tests/limits/temp_limits.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdio>

namespace endgrade {
namespace {

using testing::HasSubstr;

TEST(FindLimits, KnowsTheFourPublishedTablesById) {
  for (const char* id : {"sm-upc", "sm-pc", "sm-apc", "mm-pc"}) {
    const auto limits = FindLimits(id);
    ASSERT_TRUE(limits.ok()) << limits.error().Text();
    EXPECT_EQ(limits->id, id);
    EXPECT_EQ(limits->edition, "IEC 61300-3-35, edition 2 (2015)");
  }
}

TEST(FindLimits, ListsTheIdsThereAreForAnUnknownOne) {
  const auto limits = FindLimits("sm-ucp");
  ASSERT_FALSE(limits.ok());
  EXPECT_EQ(limits.error().kind, ErrorKind::kNotFound);
  EXPECT_THAT(limits.error().Text(), HasSubstr("mm-pc, sm-apc, sm-pc, sm-upc"));
}

TEST(FindLimits, TakesThePathOfAFile) {
  const TempFolder folder;
  const auto file = folder.Write("sound.toml", kSoundLimits);
  const auto limits = FindLimits(file.string());
  ASSERT_TRUE(limits.ok()) << limits.error().Text();
  EXPECT_EQ(limits->path, file);
  const auto missing = FindLimits((folder.path() / "no.toml").string());
  ASSERT_FALSE(missing.ok());
  EXPECT_EQ(missing.error().kind, ErrorKind::kNotFound);
  EXPECT_THAT(missing.error().file, HasSubstr("no.toml"));
}

TEST(FindLimits, RefusesAnIdThatTwoFilesHave) {
  const TempFolder folder;
  const LimitsFolderIs chosen(folder.path());
  folder.Write("a/sound.toml", kSoundLimits);
  folder.Write("b/sound.toml", kSoundLimits);
  const auto limits = FindLimits("sound");
  ASSERT_FALSE(limits.ok());
  EXPECT_THAT(limits.error().what, HasSubstr("two limits files have the ID \"sound\""));
  const auto list = ListLimits();
  ASSERT_EQ(list.size(), 2u);
  EXPECT_FALSE(list[0].ok() && list[1].ok());
}

TEST(FindLimits, SaysSoWhenTheFolderIsEmptyOrNotThere) {
  const TempFolder folder;
  {
    const LimitsFolderIs chosen(folder.path());
    EXPECT_THAT(FindLimits("sm-upc").error().Text(), HasSubstr("Set ENDGRADE_ZONES"));
    EXPECT_TRUE(ListLimits().empty());
  }
  const LimitsFolderIs chosen(folder.path() / "not-there");
  EXPECT_THAT(FindLimits("sm-upc").error().Text(), HasSubstr("Set ENDGRADE_ZONES"));
  EXPECT_TRUE(ListLimits().empty());
}

TEST(ListLimits, IsByIdWithABrokenFileInItsPlace) {
  const TempFolder folder;
  const LimitsFolderIs chosen(folder.path());
  folder.Write("z/alpha.toml", Replaced(kSoundLimits, "\"sound\"", "\"alpha\""));
  folder.Write("a/sound.toml", kSoundLimits);
  folder.Write("broken.toml", "id =");
  folder.Write("README.md", "not limits");
  const auto list = ListLimits();
  ASSERT_EQ(list.size(), 3u);
  ASSERT_TRUE(list[0].ok());
  EXPECT_EQ(list[0]->id, "alpha");
  ASSERT_FALSE(list[1].ok());
  EXPECT_THAT(list[1].error().Text(), HasSubstr("broken.toml:1: not valid TOML"));
  ASSERT_TRUE(list[2].ok());
  EXPECT_EQ(list[2]->id, "sound");
}

TEST(LimitsFolder, IsTheSourceTreesUnlessTheEnvironmentSaysOtherwise) {
  unsetenv("ENDGRADE_ZONES");
  EXPECT_EQ(LimitsFolder(), std::filesystem::path(ENDGRADE_SOURCE_DIR) / "zones");
  const TempFolder folder;
  const LimitsFolderIs chosen(folder.path());
  EXPECT_EQ(LimitsFolder(), folder.path());
}

// What a program says its limits folder is; run by the test below from another place.
TEST(LimitsFolder, DISABLED_IsPrinted) {
  unsetenv("ENDGRADE_ZONES");
  std::printf("folder=%s\n", LimitsFolder().c_str());
}

TEST(LimitsFolder, MovesWithAnInstalledProgram) {
  const TempFolder folder;
  const auto program = folder.Write("prefix/bin/program", "");
  std::filesystem::copy_file(
      "/proc/self/exe", program, std::filesystem::copy_options::overwrite_existing);
  std::filesystem::permissions(program, std::filesystem::perms::owner_all);
  folder.Write("prefix/share/endgrade/zones/sound.toml", kSoundLimits);
  const std::string command = program.string() +
                              " --gtest_also_run_disabled_tests"
                              " --gtest_filter=LimitsFolder.DISABLED_IsPrinted";
  FILE* pipe = popen(command.c_str(), "r");
  ASSERT_TRUE(pipe);
  std::string said;
  for (int c = std::fgetc(pipe); c != EOF; c = std::fgetc(pipe)) said += static_cast<char>(c);
  pclose(pipe);
  const auto zones = std::filesystem::canonical(folder.path()) / "prefix/share/endgrade/zones";
  EXPECT_THAT(said, HasSubstr("folder=" + zones.string() + "\n"));
}

}  // namespace
}  // namespace endgrade
