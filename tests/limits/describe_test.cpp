// Limits in words.
#include "limits/describe.h"

#include "tests/limits/temp_limits.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <sstream>

namespace endgrade {
namespace {

using testing::HasSubstr;
using testing::Not;

TEST(DescribeLimits, ShowsEveryZoneRuleCertaintyAndSource) {
  for (const auto& limits : ListLimits()) {
    ASSERT_TRUE(limits.ok()) << limits.error().Text();
    const std::string text = DescribeLimits(*limits);
    EXPECT_THAT(text, HasSubstr(limits->id + "  " + limits->title));
    EXPECT_THAT(text, HasSubstr(limits->edition));
    EXPECT_THAT(text, HasSubstr(limits->sha256));
    for (const Zone& zone : limits->zones) {
      EXPECT_THAT(text, HasSubstr("Zone " + zone.name + ", " + zone.title));
      EXPECT_THAT(text, HasSubstr(zone.source));
    }
    for (const Rule& rule : limits->rules) {
      const auto at = text.find("  " + rule.id + "\n");
      ASSERT_NE(at, std::string::npos) << rule.id;
      const std::string line = text.substr(text.rfind('\n', at) + 1, at - text.rfind('\n', at));
      EXPECT_THAT(line, HasSubstr(rule.text));
      EXPECT_THAT(line, HasSubstr("[" + CertaintyMark(rule.certainty) + "]"));
      EXPECT_THAT(text, HasSubstr("  " + CertaintyWords(rule.certainty) + "\n"));
      EXPECT_THAT(text, HasSubstr(rule.source));
    }
  }
}

TEST(DescribeLimits, SaysWhatAPictureMustShow) {
  const std::string text = DescribeLimits(*FindLimits("sm-upc"));
  EXPECT_THAT(text, HasSubstr("must be able to show scratches of 3 um and defects of 2 um\n"));
  EXPECT_THAT(text, HasSubstr("must be able to show defects of 10 um\n"));
  EXPECT_THAT(text, HasSubstr("nothing here can break a rule\n"));
}

TEST(DescribeLimits, NamesTheLegendOfWhatItUsesOnly) {
  EXPECT_THAT(DescribeLimits(*FindLimits("sm-upc")), Not(HasSubstr("a lab's own choice")));
  EXPECT_THAT(DescribeLimits(*FindLimits("house-example")), HasSubstr("a lab's own choice"));
}

TEST(DescribeLimits, FitsATerminal) {
  constexpr size_t kColumns = 100;
  for (const auto& limits : ListLimits()) {
    ASSERT_TRUE(limits.ok());
    std::istringstream text(DescribeLimits(*limits));
    for (std::string line; std::getline(text, line);) {
      const bool is_path = line.starts_with("File ");
      EXPECT_TRUE(is_path || line.size() <= kColumns) << line;
    }
  }
}

TEST(DescribeLimitsList, HasALineAnIdAndTheErrorOfABrokenFile) {
  const TempFolder folder;
  const LimitsFolderIs chosen(folder.path());
  folder.Write("sound.toml", kSoundLimits);
  folder.Write("broken.toml", "id =");
  const std::string text = DescribeLimitsList(ListLimits());
  EXPECT_THAT(text, HasSubstr("sound  Sound limits\n"));
  EXPECT_THAT(text, HasSubstr("not fit to use: "));
  EXPECT_THAT(text, HasSubstr("broken.toml:1: not valid TOML"));
  EXPECT_THAT(DescribeLimitsList({}), HasSubstr("no limits files in "));
}

TEST(DescribeLimitsCheck, CountsWhatItRead) {
  const TempFolder folder;
  const auto good = folder.Write("sound.toml", kSoundLimits);
  EXPECT_EQ(DescribeLimitsCheck(good, CheckLimits(good)),
            good.string() + ": good, 2 zones and 4 rules\n");
  const auto odd = folder.Write("sound.toml", Replaced(kSoundLimits, "<= 3", "any"));
  const std::string warned = DescribeLimitsCheck(odd, CheckLimits(odd));
  EXPECT_THAT(warned, HasSubstr("sound.toml:48: warning: rules"));
  EXPECT_THAT(warned, HasSubstr(": good, 2 zones and 4 rules, 1 warning\n"));
  const auto bad = folder.Write("sound.toml", Replaced(kSoundLimits, "allowed = 4", "allowed = x"));
  EXPECT_THAT(DescribeLimitsCheck(bad, CheckLimits(bad)),
              HasSubstr(": not fit to use, 1 mistake\n"));
}

}  // namespace
}  // namespace endgrade
