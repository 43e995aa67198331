// Limits that build on others.
#include "tests/limits/temp_limits.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <cstdio>

namespace endgrade {
namespace {

using testing::HasSubstr;

const std::string kChild = R"(id = "child"
title = "Child"
extends = "sound"
source = "ours"
)";

// What the system's sha256sum says of bytes: a check from outside the project.
std::string Sha256Sum(const TempFolder& folder, const std::string& bytes) {
  const std::string command = "sha256sum " + folder.Write("bytes.bin", bytes).string();
  FILE* pipe = popen(command.c_str(), "r");
  std::array<char, 65> digest{};
  const size_t read = pipe ? std::fread(digest.data(), 1, 64, pipe) : 0;
  if (pipe) pclose(pipe);
  return std::string(digest.data(), read);
}

TEST(Extends, KeepsWhatTheFileDoesNotSay) {
  const TempFolder folder;
  const auto parent = ReadLimits(folder.Write("sound.toml", kSoundLimits));
  const auto child = ReadLimits(folder.Write("child.toml", kChild));
  ASSERT_TRUE(parent.ok());
  ASSERT_TRUE(child.ok()) << child.error().Text();
  EXPECT_EQ(child->extends, "sound");
  EXPECT_EQ(child->title, "Child");
  EXPECT_EQ(child->edition, "house limits, built on sound (none, for a test)");
  EXPECT_EQ(child->zones.size(), parent->zones.size());
  ASSERT_EQ(child->rules.size(), parent->rules.size());
  for (size_t i = 0; i < child->rules.size(); ++i) {
    EXPECT_EQ(child->rules[i].text, parent->rules[i].text);
    EXPECT_EQ(child->rules[i].source, parent->rules[i].source);
  }
}

TEST(Extends, ReplacesRulesByIdKeyByKey) {
  const TempFolder folder;
  folder.Write("sound.toml", kSoundLimits);
  const auto child = ReadLimits(folder.Write(
      "child.toml", kChild + "[[rule]]\nid = \"b-small\"\nallowed = 1\ncertainty = \"c\"\n"));
  ASSERT_TRUE(child.ok()) << child.error().Text();
  const Rule& rule = child->rules[2];
  EXPECT_EQ(rule.id, "b-small");
  EXPECT_EQ(rule.text, "at most 1 up to 3 um");
  EXPECT_EQ(rule.certainty, Certainty::kCommonPractice);
  EXPECT_EQ(rule.source, "ours");
  EXPECT_EQ(child->rules.size(), 4u);
}

TEST(Extends, AChangedFigureNeedsItsOwnCertainty) {
  const TempFolder folder;
  folder.Write("sound.toml", kSoundLimits);
  const auto child =
      ReadLimits(folder.Write("child.toml", kChild + "[[rule]]\nid = \"b-small\"\nallowed = 1\n"));
  ASSERT_FALSE(child.ok());
  EXPECT_THAT(child.error().Text(),
              HasSubstr("child.toml:5: \"certainty\" in [[rule]] is missing"));
}

TEST(Extends, MovesBordersOnlyIfTheyStillTouch) {
  const TempFolder folder;
  folder.Write("sound.toml", kSoundLimits);
  const std::string zone =
      "[[zone]]\nname = \"A\"\ndiameters_um = [0, 30]\ncertainty = \"house\"\n";
  const auto gap = ReadLimits(folder.Write("child.toml", kChild + zone));
  ASSERT_FALSE(gap.ok());
  // The parent's zone B no longer starts where A ends: named where B stands.
  EXPECT_THAT(gap.error().Text(),
              HasSubstr("sound.toml:22: zone B starts at 25 um, expected 30 um"));
  const auto moved = ReadLimits(folder.Write(
      "child.toml",
      kChild + zone +
          "[[zone]]\nname = \"B\"\ndiameters_um = [30, 150.5]\ncertainty = \"house\"\n"));
  ASSERT_TRUE(moved.ok()) << moved.error().Text();
  EXPECT_EQ(moved->zones[0].title, "core");
  EXPECT_EQ(moved->zones[0].outer_diameter_um, 30.0);
  EXPECT_EQ(moved->zones[0].certainty, Certainty::kHouse);
}

TEST(Extends, DropsRulesAndWantsOthersInTheirPlace) {
  const TempFolder folder;
  folder.Write("sound.toml", kSoundLimits);
  const std::string drop = kChild + "drop_rules = [\"b-small\", \"b-large\"]\n";
  const LimitsCheck bare = CheckLimits(folder.Write("child.toml", drop));
  ASSERT_EQ(bare.errors.size(), 1u);
  EXPECT_THAT(bare.errors[0].what, HasSubstr("no rule says what holds for defects of any size"));
  const LimitsCheck full = CheckLimits(folder.Write(
      "child.toml",
      drop + "[[rule]]\nid = \"b-none\"\nzone = \"B\"\nkind = \"defect\"\nsize = \"any\"\n"
             "allowed = \"none\"\ncertainty = \"house\"\n"));
  ASSERT_TRUE(full.limits) << full.errors[0].Text();
  EXPECT_EQ(full.limits->rules.size(), 3u);
  ASSERT_EQ(full.warnings.size(), 2u);
  EXPECT_THAT(full.warnings[0].what, HasSubstr("drops rule \"b-small\""));
  EXPECT_EQ(full.warnings[0].line, 5);
  const LimitsCheck none =
      CheckLimits(folder.Write("child.toml", kChild + "drop_rules = [\"x\"]\n"));
  ASSERT_EQ(none.errors.size(), 1u);
  EXPECT_THAT(none.errors[0].what, HasSubstr("a rule \"x\" which there is not"));
}

TEST(Extends, LooserThanTheParentWarns) {
  const TempFolder folder;
  folder.Write("sound.toml", kSoundLimits);
  for (const std::string allowed : {"5", "\"no limit\""}) {
    const LimitsCheck check = CheckLimits(folder.Write(
        "child.toml",
        kChild + "[[rule]]\nid = \"b-small\"\nallowed = " + allowed + "\ncertainty = \"house\"\n"));
    ASSERT_TRUE(check.limits);
    ASSERT_EQ(check.warnings.size(), 1u);
    EXPECT_EQ(check.warnings[0].line, 5);
    EXPECT_THAT(check.warnings[0].what, HasSubstr("allows more than it does in \"sound\""));
  }
}

TEST(Extends, ReachesShippedLimitsByIdAndOthersByPath) {
  const TempFolder folder;
  const auto by_id =
      ReadLimits(folder.Write("child.toml", Replaced(kChild, "\"sound\"", "\"mm-pc\"")));
  ASSERT_TRUE(by_id.ok()) << by_id.error().Text();
  EXPECT_FALSE(by_id->fibre.single_mode);
  folder.Write("deep/sound.toml", kSoundLimits);
  const auto by_path =
      ReadLimits(folder.Write("child.toml", Replaced(kChild, "\"sound\"", "\"deep/sound.toml\"")));
  ASSERT_TRUE(by_path.ok()) << by_path.error().Text();
  EXPECT_EQ(by_path->extends, "sound");
}

TEST(Extends, GoesOverMoreThanOneGeneration) {
  const TempFolder folder;
  folder.Write("sound.toml", kSoundLimits);
  folder.Write("child.toml", kChild);
  const auto grandchild = ReadLimits(folder.Write(
      "grandchild.toml",
      Replaced(Replaced(kChild, "\"child\"", "\"grandchild\""), "\"sound\"", "\"child\"")));
  ASSERT_TRUE(grandchild.ok()) << grandchild.error().Text();
  EXPECT_EQ(grandchild->extends, "child");
  EXPECT_EQ(grandchild->rules.size(), 4u);
}

TEST(Extends, ALoopIsNamedAtItsLine) {
  const TempFolder folder;
  folder.Write("child.toml", Replaced(kChild, "\"sound\"", "\"other\""));
  folder.Write("other.toml",
               Replaced(Replaced(kChild, "\"child\"", "\"other\""), "\"sound\"", "\"child\""));
  const auto limits = ReadLimits(folder.path() / "child.toml");
  ASSERT_FALSE(limits.ok());
  EXPECT_EQ(limits.error().line, 3);
  EXPECT_EQ(limits.error().file, (folder.path() / "other.toml").string());
  EXPECT_THAT(limits.error().what, HasSubstr("leads back to child.toml: a loop"));

  const auto self =
      ReadLimits(folder.Write("child.toml", Replaced(kChild, "\"sound\"", "\"child\"")));
  ASSERT_FALSE(self.ok());
  EXPECT_THAT(self.error().what, HasSubstr("leads back to child.toml: a loop"));
}

TEST(Extends, AnEndlessChainIsRefused) {
  const TempFolder folder;
  for (int i = 0; i < 12; ++i) {
    const std::string id = "\"g" + std::to_string(i) + "\"";
    const std::string parent = "\"g" + std::to_string(i + 1) + "\"";
    folder.Write("g" + std::to_string(i) + ".toml",
                 Replaced(Replaced(kChild, "\"child\"", id), "\"sound\"", parent));
  }
  folder.Write("g12.toml", Replaced(kSoundLimits, "\"sound\"", "\"g12\""));
  EXPECT_TRUE(ReadLimits(folder.path() / "g5.toml").ok());
  const auto limits = ReadLimits(folder.path() / "g0.toml");
  ASSERT_FALSE(limits.ok());
  EXPECT_THAT(limits.error().what, HasSubstr("more than 8 files"));
}

TEST(Extends, AMistakeOfTheParentIsNamedInTheParent) {
  const TempFolder folder;
  const auto parent = folder.Write("sound.toml", Replaced(kSoundLimits, "[0, 25]", "[25]"));
  const auto child = ReadLimits(folder.Write("child.toml", kChild));
  ASSERT_FALSE(child.ok());
  EXPECT_EQ(child.error().file, parent.string());
  EXPECT_EQ(child.error().line, 20);
}

TEST(Sha256OfLimits, IsThatOfTheFile) {
  const TempFolder folder;
  const auto limits = ReadLimits(folder.Write("sound.toml", kSoundLimits));
  ASSERT_TRUE(limits.ok());
  EXPECT_EQ(limits->sha256, Sha256Sum(folder, kSoundLimits));
}

TEST(Sha256OfLimits, CoversTheParentToo) {
  const TempFolder folder;
  folder.Write("sound.toml", kSoundLimits);
  const auto file = folder.Write("child.toml", kChild);
  const std::string before = ReadLimits(file)->sha256;
  EXPECT_EQ(before, Sha256Sum(folder, kChild + Sha256Sum(folder, kSoundLimits)));
  folder.Write("sound.toml", Replaced(kSoundLimits, "allowed = 4", "allowed = 3"));
  EXPECT_NE(ReadLimits(file)->sha256, before);
}

}  // namespace
}  // namespace endgrade
