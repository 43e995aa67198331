// Every mistake in a limits file gets the file, the line and what was expected.
#include "tests/limits/temp_limits.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

using testing::HasSubstr;

int LineOf(const std::string& text, const std::string& part) {
  const auto at = text.find(part);
  return 1 + static_cast<int>(
                 std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(at), '\n'));
}

// One mistake: `from` becomes `to`; the error is on the line of `at` in the changed text.
struct Mistake {
  const char* name;
  const char* from;
  const char* to;
  const char* at;
  const char* what;
};

class OneMistake : public testing::TestWithParam<Mistake> {};

TEST_P(OneMistake, IsNamedWithFileLineAndWhatWasExpected) {
  const Mistake& mistake = GetParam();
  const TempFolder folder;
  const std::string text = Replaced(kSoundLimits, mistake.from, mistake.to);
  const auto file = folder.Write("sound.toml", text);
  const LimitsCheck check = CheckLimits(file);
  EXPECT_FALSE(check.limits);
  ASSERT_FALSE(check.errors.empty());
  const Error& error = check.errors.front();
  EXPECT_EQ(error.kind, ErrorKind::kBadLimits);
  EXPECT_EQ(error.file, file.string());
  EXPECT_EQ(error.line, LineOf(text, mistake.at)) << error.Text();
  EXPECT_THAT(error.what + ". " + error.remedy, HasSubstr(mistake.what));
  EXPECT_EQ(error.Text().find('\n'), std::string::npos);  // fuzzing found one that quoted it
  EXPECT_EQ(check.errors.size(), 1u) << check.errors.back().Text();

  const auto read = ReadLimits(file);
  ASSERT_FALSE(read.ok());
  EXPECT_EQ(read.error().Text(), error.Text());
}

std::string MistakeName(const testing::TestParamInfo<Mistake>& info) { return info.param.name; }

constexpr const char* kB = "name = \"B\"";

INSTANTIATE_TEST_SUITE_P(
    Values,
    OneMistake,
    testing::Values(
        Mistake{"UnknownKeyAtTop",
                "edition = ",
                "color = 1\nedition = ",
                "color",
                "Expected one of: id, title, edition"},
        Mistake{"UnknownKeyInFibre",
                "mode = ",
                "core = 1\nmode = ",
                "core = 1",
                "unknown key \"core\" in [fibre]"},
        Mistake{"UnknownKeyInZone",
                kB,
                "name = \"B\"\ncolour = \"red\"",
                "colour",
                "unknown key \"colour\" in [[zone]]"},
        Mistake{"UnknownKeyInRule",
                "id = \"b-small\"",
                "id = \"b-small\"\nallow = 4",
                "allow =",
                "Expected one of: id, zone, kind, size, allowed"},
        Mistake{"MissingId", "id = \"sound\"\n", "", "title", "\"id\" is missing"},
        Mistake{"MissingTitle", "title = \"Sound limits\"", "", "id =", "\"title\" is missing"},
        Mistake{"MissingAllowed",
                "allowed = 4\n",
                "",
                "[[rule]]\nid = \"b-small\"",
                "\"allowed\" in [[rule]] is missing: expected \"none\", \"no limit\""},
        Mistake{"MissingCertainty",
                "allowed = 4\ncertainty = \"house\"",
                "allowed = 4",
                "[[rule]]\nid = \"b-small\"",
                "\"certainty\" in [[rule]] is missing"},
        Mistake{"MissingSource",
                "source = \"common practice, no source\"",
                "",
                "[cleaning]",
                "\"source\" in [cleaning] is missing"},
        Mistake{"MissingMode", "mode = \"single\"", "", "[fibre]", "\"mode\" in [fibre]"},
        Mistake{"IdWithSpaces",
                "id = \"sound\"",
                "id = \"Sound Limits\"",
                "id =",
                "lower-case letters, digits and hyphens"},
        Mistake{"IdOfAnotherFile",
                "id = \"sound\"",
                "id = \"sm-upc\"",
                "id =",
                "the file is called sound.toml"},
        Mistake{"TitleNotText", "title = \"Sound limits\"", "title = 7", "title", "text in quotes"},
        Mistake{"TitleEmpty", "title = \"Sound limits\"", "title = \"\"", "title", "not empty"},
        Mistake{
            "TitleWithTerminalControl", "Sound limits", "Sound\\u001b[2J", "title", "on one line"},
        Mistake{"TitleWithC1Control", "Sound limits", "Sound\\u009b2J", "title", "on one line"},
        Mistake{"TitleOfTwoLines", "Sound limits", "Sound\\nlimits", "title", "on one line"},
        Mistake{"WrongMode",
                "mode = \"single\"",
                "mode = \"sm\"",
                "mode",
                "one of \"single\", \"multi\""},
        Mistake{"CladdingNotANumber",
                "cladding_diameter_um = 125",
                "cladding_diameter_um = \"125\"",
                "cladding_diameter_um",
                "a number"},
        Mistake{"CladdingInfinite",
                "cladding_diameter_um = 125",
                "cladding_diameter_um = inf",
                "cladding_diameter_um",
                "a number"},
        Mistake{"ToleranceNegative",
                "cladding_tolerance_um = 1",
                "cladding_tolerance_um = -1",
                "[fibre]",
                "tolerance must be from 0"},
        Mistake{"CoreLargerThanCladding", "[9]", "[126]", "[fibre]", "less than the cladding's"},
        Mistake{"CoreNotAList", "[9]", "9", "core_diameters_um", "numbers in brackets"},
        Mistake{"CoreOfText", "[9]", "[\"9\"]", "core_diameters_um", "numbers in brackets"},
        Mistake{"AngleTooLarge",
                "polish_angle_deg = 0",
                "polish_angle_deg = 80",
                "[fibre]",
                "from 0 to 45 degrees"},
        Mistake{"CleaningsNotWhole",
                "max_attempts = 5",
                "max_attempts = 5.0",
                "max_attempts",
                "a whole number from 1 to 100"},
        Mistake{"CleaningsZero",
                "max_attempts = 5",
                "max_attempts = 0",
                "max_attempts",
                "a whole number from 1 to 100"},
        Mistake{"WrongCertainty",
                "certainty = \"2\"",
                "certainty = \"sure\"",
                "certainty = \"sure\"",
                "one of \"2\", \"1\", \"m\", \"c\", \"house\""},
        Mistake{"CertaintyAsNumber",
                "certainty = \"2\"",
                "certainty = 2",
                "certainty = 2",
                "text in quotes"},
        Mistake{"WrongKind",
                "kind = \"scratch\"",
                "kind = \"dirt\"",
                "kind = \"dirt\"",
                "one of \"scratch\", \"defect\", \"any\""},
        Mistake{"WrongSize",
                "size = \"<= 3\"",
                "size = \"0-3\"",
                "size = \"0-3\"",
                "\"2 to 5\" (both ends belong)"},
        Mistake{"SizeAsNumber", "size = \"<= 3\"", "size = 3", "size = 3", "text in quotes"},
        Mistake{"TruthCutShort", "allowed = 4", "allowed = t", "allowed = t", "saw 't\\n'"},
        Mistake{"AllowedAsText",
                "allowed = 4",
                "allowed = \"4\"",
                "allowed = \"4\"",
                "\"none\", \"no limit\" or a whole number"},
        Mistake{"AllowedNegative",
                "allowed = 4",
                "allowed = -1",
                "allowed = -1",
                "\"none\", \"no limit\" or a whole number"},
        Mistake{"AllowedFraction",
                "allowed = 4",
                "allowed = 4.5",
                "allowed = 4.5",
                "\"none\", \"no limit\" or a whole number"},
        Mistake{"AllowedYes",
                "allowed = 4",
                "allowed = true",
                "allowed = true",
                "\"none\", \"no limit\" or a whole number"},
        Mistake{"MustSeeZero",
                kB,
                "name = \"B\"\nmust_see_defect_um = 0",
                "[[zone]]\nname = \"B\"",
                "must be more than 0"},
        Mistake{"DropWithoutParent",
                "[fibre]",
                "drop_rules = [\"x\"]\n[fibre]",
                "drop_rules",
                "only makes sense beside \"extends\""},
        Mistake{"ExtendsNothing",
                "source = \"made",
                "extends = \"no-such\"\nsource = \"made",
                "extends",
                "there are no limits \"no-such\""},
        Mistake{"ExtendsANumber",
                "source = \"made",
                "extends = 5\nsource = \"made",
                "extends",
                "the ID of limits in quotes"}),
    MistakeName);

INSTANTIATE_TEST_SUITE_P(
    Structure,
    OneMistake,
    testing::Values(
        Mistake{"BrokenToml", "allowed = 4", "allowed = ", "allowed = \n", "not valid TOML"},
        Mistake{"KeyTwice",
                "mode = \"single\"",
                "mode = \"single\"\nmode = \"multi\"",
                "mode = \"multi\"",
                "not valid TOML"},
        Mistake{"ZoneAsOneTable",
                "[[zone]]\nname = \"A\"\ntitle = \"core\"\ndiameters_um = [0, 25]\n"
                "certainty = \"2\"\n[[zone]]",
                "[zone]",
                "[zone]",
                "two pairs of brackets"},
        Mistake{"FibreAsMany", "[fibre]", "[[fibre]]", "[[fibre]]", "one pair of brackets"},
        Mistake{"ZoneGap",
                "[25, 150.5]",
                "[26, 150.5]",
                "[[zone]]\nname = \"B\"",
                "starts at 26 um, expected 25 um"},
        Mistake{"ZoneOverlap",
                "[25, 150.5]",
                "[24, 150.5]",
                "[[zone]]\nname = \"B\"",
                "starts at 24 um, expected 25 um"},
        Mistake{"FirstZoneOffCentre",
                "[0, 25]",
                "[1, 25]",
                "[[zone]]\nname = \"A\"",
                "starts at the centre"},
        Mistake{"ZoneInsideOut",
                "[25, 150.5]",
                "[25, 24]",
                "[[zone]]\nname = \"B\"",
                "must end further out"},
        Mistake{"ZoneLargerThanAFerrule",
                "[25, 150.5]",
                "[25, 150500]",
                "[[zone]]\nname = \"B\"",
                "outside the ferrule"},
        Mistake{"ZoneWithThreeBorders",
                "[25, 150.5]",
                "[25, 115, 150.5]",
                "diameters_um = [25, 115",
                "two diameters"},
        Mistake{"ZoneNameTwice",
                kB,
                "name = \"A\"",
                "name = \"A\"\ntitle = \"cladding\"",
                "a second zone \"A\""},
        Mistake{"ZoneNameOdd",
                kB,
                "name = \"zone B!\"",
                "name = \"zone B!\"",
                "at most 8 letters and digits"},
        Mistake{"RuleIdTwice",
                "id = \"b-large\"",
                "id = \"b-small\"",
                "id = \"b-small\"\nzone = \"B\"\nkind = \"defect\"\nsize = \"> 3\"",
                "a second rule with the id \"b-small\""},
        Mistake{"RuleOfNoZone",
                "zone = \"A\"",
                "zone = \"E\"",
                "[[rule]]\nid = \"a-any\"",
                "expected A, B"},
        Mistake{"GapBetweenRules",
                "size = \"> 3\"",
                "size = \"> 4\"",
                "[[rule]]\nid = \"b-small\"",
                "no rule says what holds for defects over 3 to 4 um"},
        Mistake{"GapAtAnEnd",
                "size = \"<= 3\"",
                "size = \"< 3\"",
                "[[rule]]\nid = \"b-small\"",
                "defects from 3 to 3 um"},
        Mistake{"GapAtTheTop",
                "size = \"> 3\"",
                "size = \"> 3 to 9\"",
                "[[rule]]\nid = \"b-large\"",
                "defects over 9 um"},
        Mistake{"GapAtTheBottom",
                "size = \"<= 3\"",
                "size = \"1 to 3\"",
                "[[zone]]\nname = \"B\"",
                "defects below 1 um"},
        Mistake{"KindWithoutRules",
                "kind = \"scratch\"\nsize = \"any\"\nallowed = \"no limit\"",
                "kind = \"defect\"\nsize = \"5 to 5\"\nallowed = 0",
                "[[zone]]\nname = \"B\"",
                "scratches of any size"},
        Mistake{"LimitedAndFree",
                "size = \"<= 3\"\nallowed = 4",
                "size = \"<= 3.5\"\nallowed = \"no limit\"",
                "[[rule]]\nid = \"b-large\"",
                "both speak of sizes over 3 to 3.5 um, one with a limit and one without"}),
    MistakeName);

TEST(Mistakes, AreAllReportedInTheOrderOfTheirLines) {
  const TempFolder folder;
  std::string text = Replaced(kSoundLimits, "mode = \"single\"", "mode = \"sm\"");
  text = Replaced(text, "diameters_um = [0, 25]", "diameters_um = 25");
  text = Replaced(text, "allowed = 4", "allowed = \"many\"");
  text = Replaced(text, "title = \"Sound limits\"", "titel = \"Sound limits\"");
  const LimitsCheck check = CheckLimits(folder.Write("sound.toml", text));
  ASSERT_EQ(check.errors.size(), 5u);
  const int lines[] = {1, 2, 6, 20, 46};  // title missing, titel, mode, diameters, allowed
  for (size_t i = 0; i < 5; ++i) EXPECT_EQ(check.errors[i].line, lines[i]) << i;
  EXPECT_THAT(ReadLimits(folder.path() / "sound.toml").error().Text(),
              HasSubstr("4 more mistakes"));
}

TEST(Mistakes, AFileThatNothingCanFailIsOne) {
  const TempFolder folder;
  std::string text = kSoundLimits;
  for (const char* limit : {"allowed = \"none\"", "allowed = 4", "allowed = \"none\""}) {
    text = Replaced(text, limit, "allowed = \"no limit\"");
  }
  const LimitsCheck check = CheckLimits(folder.Write("sound.toml", text));
  ASSERT_EQ(check.errors.size(), 1u);
  EXPECT_THAT(check.errors[0].what, HasSubstr("every face would pass"));
  EXPECT_EQ(check.errors[0].line, 1);
}

TEST(Mistakes, WhatIsFreeForAnyKindMayNotBeLimitedForOne) {
  const TempFolder folder;
  const auto text = Replaced(kSoundLimits, "kind = \"scratch\"", "kind = \"any\"");
  const LimitsCheck check = CheckLimits(folder.Write("sound.toml", text));
  ASSERT_EQ(check.errors.size(), 2u);  // against either of the two rules on defects
  EXPECT_EQ(check.errors[0].line, 41);
  EXPECT_EQ(check.errors[1].line, 48);
  for (const Error& error : check.errors) {
    EXPECT_THAT(error.what, HasSubstr("one with a limit and one without"));
  }
  EXPECT_THAT(ReadLimits(folder.path() / "sound.toml").error().Text(),
              HasSubstr("1 more mistake:"));
}

TEST(Mistakes, TwoLimitsOnOneSizeOnlyWarn) {
  const TempFolder folder;
  const auto text = Replaced(kSoundLimits, "size = \"<= 3\"", "size = \"any\"");
  const LimitsCheck check = CheckLimits(folder.Write("sound.toml", text));
  EXPECT_TRUE(check.limits);
  ASSERT_EQ(check.warnings.size(), 1u);
  EXPECT_THAT(check.warnings[0].Text(), HasSubstr("sizes over 3 um. Both must hold"));
}

TEST(Mistakes, MoreLargeThanSmallFeaturesOnlyWarns) {
  const TempFolder folder;
  const auto text =
      Replaced(kSoundLimits, "size = \"> 3\"\nallowed = \"none\"", "size = \"> 3\"\nallowed = 9");
  const LimitsCheck check = CheckLimits(folder.Write("sound.toml", text));
  EXPECT_TRUE(check.limits);
  ASSERT_EQ(check.warnings.size(), 1u);
  EXPECT_THAT(check.warnings[0].what, HasSubstr("allows more than \"b-small\" does"));
}

// The borders of edition 2 in radii: a trap of public pages.
TEST(Mistakes, BordersThatLookLikeRadiiWarn) {
  const TempFolder folder;
  const auto text = Replaced(kSoundLimits, "[25, 150.5]", "[25, 125]");
  const LimitsCheck check = CheckLimits(folder.Write("sound.toml", text));
  ASSERT_EQ(check.warnings.size(), 1u);
  EXPECT_THAT(check.warnings[0].remedy, HasSubstr("if these are radii, double them"));
}

TEST(Mistakes, AShippedIdOnOtherContentWarns) {
  const TempFolder folder;
  const auto text = Replaced(kSoundLimits, "id = \"sound\"", "id = \"sm-upc\"");
  const LimitsCheck check = CheckLimits(folder.Write("sm-upc.toml", text));
  EXPECT_TRUE(check.limits);
  ASSERT_EQ(check.warnings.size(), 1u);
  EXPECT_THAT(check.warnings[0].what, HasSubstr("other limits with the ID \"sm-upc\" are shipped"));
}

TEST(Files, SoundOnesHaveNoMistakes) {
  const TempFolder folder;
  for (const std::string prefix : {"", "\xEF\xBB\xBF"}) {  // a byte order mark is no mistake
    const LimitsCheck check = CheckLimits(folder.Write("sound.toml", prefix + kSoundLimits));
    EXPECT_TRUE(check.errors.empty()) << check.errors.front().Text();
    EXPECT_TRUE(check.warnings.empty()) << check.warnings.front().Text();
    ASSERT_TRUE(check.limits);
    EXPECT_EQ(check.limits->rules.size(), 4u);
    EXPECT_FALSE(check.limits->Problem());
  }
}

TEST(Files, WithWindowsLineEndsKeepTheirLines) {
  const TempFolder folder;
  std::string text = Replaced(kSoundLimits, "allowed = 4", "allowed = \"many\"");
  for (size_t at = 0; (at = text.find('\n', at)) != std::string::npos; at += 2) {
    text.replace(at, 1, "\r\n");
  }
  const LimitsCheck check = CheckLimits(folder.Write("sound.toml", text));
  ASSERT_EQ(check.errors.size(), 1u);
  EXPECT_EQ(check.errors[0].line, 46);
}

TEST(Files, ThatAreNotThereOrNotFilesAreSaidToBeSo) {
  const TempFolder folder;
  const auto missing = ReadLimits(folder.path() / "no.toml");
  ASSERT_FALSE(missing.ok());
  EXPECT_EQ(missing.error().kind, ErrorKind::kNotFound);
  const auto directory = ReadLimits(folder.path());
  ASSERT_FALSE(directory.ok());
  EXPECT_EQ(directory.error().kind, ErrorKind::kUnreadable);
  const auto device = ReadLimits("/dev/zero");
  ASSERT_FALSE(device.ok());
  EXPECT_EQ(device.error().kind, ErrorKind::kUnreadable);
  const auto huge = ReadLimits(folder.Write("huge.toml", std::string((1 << 20) + 1, '#')));
  ASSERT_FALSE(huge.ok());
  EXPECT_EQ(huge.error().kind, ErrorKind::kTooLarge);
}

TEST(Files, OfOtherKindsAreMistakesNotCrashes) {
  const TempFolder folder;
  const std::string contents[] = {"",
                                  "\n\n",
                                  std::string("\0\0\0", 3),
                                  "\x89PNG\r\n\x1a\n",
                                  "\xFF\xD8\xFF\xE0",
                                  "[[[[",
                                  std::string(5000, '['),
                                  // Outside of quotes, where toml++ 3.3 asks whether it is a space.
                                  "id = 5 \xC2\xB5m",
                                  "id = 7\xCB\x99",
                                  "id \xC3\xA9 = 3",
                                  "\xEF\xBB\xAF#",
                                  "id = \"\xC3\x28\"",
                                  "rule = [[1, 2], 3]",
                                  "zone = [{}]\nrule = [{}]",
                                  "fibre = 1\ncleaning = \"x\"\nzone = {}\nrule = 5"};
  for (const std::string& content : contents) {
    const auto limits = ReadLimits(folder.Write("odd.toml", content));
    ASSERT_FALSE(limits.ok());
    EXPECT_EQ(limits.error().kind, ErrorKind::kBadLimits);
    EXPECT_GE(limits.error().line, 1) << limits.error().Text();
    for (const char c : limits.error().Text()) EXPECT_GE(static_cast<unsigned char>(c), 0x20);
  }
}

TEST(Files, WithMoreRulesThanAnyTableAreRefused) {
  const TempFolder folder;
  std::string text = kSoundLimits;
  for (int i = 0; i < 600; ++i) {
    text += "[[rule]]\nid = \"r" + std::to_string(i) +
            "\"\nzone = \"B\"\nkind = \"defect\"\nsize = \"any\"\nallowed = 9\ncertainty = \"c\"\n";
  }
  const LimitsCheck check = CheckLimits(folder.Write("sound.toml", text));
  ASSERT_EQ(check.errors.size(), 1u);
  EXPECT_THAT(check.errors[0].what, HasSubstr("more than 500 rules"));
}

// What is made in memory has no lines, but the same faults.
TEST(Problem, FindsWhatAFileCouldNotHave) {
  Limits limits = *FindLimits("sm-upc");
  EXPECT_FALSE(limits.Problem());
  Limits no_rules = limits;
  no_rules.rules.clear();
  EXPECT_TRUE(no_rules.Problem());
  Limits not_numbers = limits;
  not_numbers.zones[1].outer_diameter_um = std::nan("");
  EXPECT_TRUE(not_numbers.Problem());
  EXPECT_TRUE(Limits{}.Problem());
}

}  // namespace
}  // namespace endgrade
