#include "lot/settings.h"

#include "endgrade/limits.h"
#include "lot/intake.h"
#include "tests/cli/temporary_folder.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace endgrade::lot {
namespace {

namespace fs = std::filesystem;
using cli::TemporaryFolder;
using ::testing::HasSubstr;

constexpr const char* kWhole = R"(schema = "endgrade.lot/1"
name = "Delivery 12"
photographs = "pictures"
pattern = ["{kind}/{cord}-{end}", "{cord}-{end}[-{attempt}]"]
ends = ["A", "B"]
fibres = 1
decision = "guarded"

[limits]
default = "sm-upc"
apc = "sm-apc"

[kind_of_end]
B = "apc"

[sampling]
lot_size = 1000
level = "II"
aql_percent = 1.0
)";

SettingsCheck Read(const TemporaryFolder& folder, const std::string& text) {
  fs::create_directory(folder.path() / "pictures");
  return ReadLotFile(folder.Write("lot.toml", text));
}

TEST(ReadLotFile, ReadsEverything) {
  const TemporaryFolder folder;
  const auto check = Read(folder, kWhole);
  ASSERT_TRUE(check.settings) << check.errors.front().Text();
  const Settings& settings = *check.settings;
  EXPECT_EQ(settings.name, "Delivery 12");
  EXPECT_EQ(settings.photographs.filename(), "pictures");
  EXPECT_EQ(settings.patterns.size(), 2u);
  EXPECT_EQ(settings.LimitsOf("apc")->id, "sm-apc");
  EXPECT_EQ(settings.LimitsOf("anything")->id, "sm-upc");
  EXPECT_EQ(settings.kind_of_end.at("B"), "apc");
  EXPECT_EQ(settings.options.judge.decision, DecisionRule::kGuarded);
  ASSERT_TRUE(settings.sampling);
  EXPECT_EQ(settings.sampling->lot_size, 1000);
  EXPECT_EQ(settings.sampling->draw, "Delivery 12");
}

struct Mistake {
  const char* was;
  const char* becomes;
  const char* said;
};

TEST(ReadLotFile, NamesTheLineOfEachMistake) {
  const Mistake mistakes[] = {
      {"fibres = 1", "fibres = 0", "lot.toml:6: "},
      {"fibres = 1", "fibers = 1", "fibers"},
      {"\"{kind}/{cord}-{end}\"", "\"{side}\"", "lot.toml:4: "},
      {"\"sm-apc\"", "\"sm-nothing\"", "lot.toml:11: "},
      {"aql_percent = 1.0", "aql_percent = 1.2", "no plan for an acceptance quality limit of 1.2"},
      {"lot_size = 1000", "lot_size = 1", "lot.toml:17: "},
      {"\"II\"", "\"IV\"", "no inspection level \"IV\""},
      {"endgrade.lot/1", "endgrade.lot/2", "lot.toml:1: "},
      {"name = ", "name ", "lot.toml:2: "},
      {"\"pictures\"", "\"nowhere\"", "no folder \"nowhere\""},
  };
  for (const Mistake& mistake : mistakes) {
    const TemporaryFolder folder;
    std::string text = kWhole;
    text.replace(text.find(mistake.was), std::string(mistake.was).size(), mistake.becomes);
    const auto check = Read(folder, text);
    ASSERT_FALSE(check.settings) << mistake.becomes;
    EXPECT_THAT(check.errors.front().Text(), HasSubstr(mistake.said));
  }
}

TEST(ReadLotFile, ReportsAllMistakesAtOnce) {
  const TemporaryFolder folder;
  const auto check = Read(folder, "schema = \"x\"\nfibres = 0\nextra = 1\n");
  EXPECT_GE(check.errors.size(), 4u) << "schema, name, fibres, extra, limits";
}

TEST(ReadLotFile, LetsNoPathLeaveItsFolder) {
  for (const char* path : {"..", "../other", "/etc", "pictures/../../other", "link"}) {
    const TemporaryFolder folder;
    fs::create_directory_symlink("/etc", folder.path() / "link");
    std::string text = kWhole;
    text.replace(text.find("\"pictures\""), 10, "\"" + std::string(path) + "\"");
    const auto check = Read(folder, text);
    ASSERT_FALSE(check.settings) << path;
    EXPECT_THAT(check.errors.front().Text(), HasSubstr("leads out of the lot file's folder"));
  }
  for (const char* line : {"camera = \"../camera.toml\"", "[limits]\ndefault = \"../x.toml\""}) {
    const TemporaryFolder folder;
    const auto check =
        Read(folder, "schema = \"endgrade.lot/1\"\nname = \"x\"\n" + std::string(line));
    ASSERT_FALSE(check.settings);
    std::string said;
    for (const Error& error : check.errors) said += error.Text() + "\n";
    EXPECT_THAT(said, HasSubstr("leads out"));
  }
}

TEST(GradeKey, ChangesWithWhateverAGradeDependsOn) {
  Settings settings;
  const auto upc = FindLimits("sm-upc");
  const auto apc = FindLimits("sm-apc");
  const std::string key = settings.GradeKey(*upc);
  EXPECT_EQ(Settings().GradeKey(*upc), key);
  EXPECT_NE(settings.GradeKey(*apc), key);
  settings.options.scale.um_per_px = 0.5;
  EXPECT_NE(settings.GradeKey(*upc), key);
  settings = {};
  settings.options.judge.decision = DecisionRule::kGuarded;
  EXPECT_NE(settings.GradeKey(*upc), key);
}

std::string LeftOutText(const Intake& intake) {
  std::string text;
  for (const LeftOut& item : intake.left_out) text += item.path + ": " + item.why + "\n";
  return text;
}

TEST(TakeIn, SortsOutWhatCannotBeGraded) {
  const TemporaryFolder folder;
  Settings settings;
  settings.photographs = folder.path();
  settings.limits.emplace("sm-upc", *FindLimits("sm-upc"));
  const auto intake = TakeIn(settings,
                             {folder.Write("sm-upc/c2-A.jpg"),
                              folder.Write("sm-upc/c1-A.jpg"),
                              folder.Write("sm-upc/IMG1.jpg"),
                              folder.Write("odd/c3-A.jpg"),
                              folder.path() / "sm-upc/c4-A.jpg"});
  ASSERT_EQ(intake.photographs.size(), 2u);
  EXPECT_EQ(intake.photographs[0].path, "sm-upc/c1-A.jpg") << "by path";
  EXPECT_EQ(intake.photographs[0].face.kind, "sm-upc") << "from the folder's name";
  const std::string text = LeftOutText(intake);
  EXPECT_THAT(text, HasSubstr("sm-upc/IMG1.jpg: the name does not match"));
  EXPECT_THAT(text, HasSubstr("odd/c3-A.jpg: there are no limits for its kind"));
  EXPECT_THAT(text, HasSubstr("sm-upc/c4-A.jpg: the file is gone"));
}

TEST(TakeIn, NamesBothOfTwoPhotographsOfOneAttempt) {
  const TemporaryFolder folder;
  Settings settings;
  settings.photographs = folder.path();
  settings.limits.emplace("", *FindLimits("sm-upc"));
  const auto intake = TakeIn(settings, {folder.Write("c1-A.jpg"), folder.Write("c1-A.png")});
  EXPECT_EQ(intake.photographs.size(), 2u) << "both are evidence";
  EXPECT_THAT(LeftOutText(intake), HasSubstr("c1-A.jpg: is of the same face and attempt"));
  EXPECT_THAT(LeftOutText(intake), HasSubstr("c1-A.png: is of the same face and attempt"));
}

}  // namespace
}  // namespace endgrade::lot
