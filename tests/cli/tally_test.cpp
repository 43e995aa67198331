#include "cli/tally.h"

#include "cli/exit_codes.h"

#include <gtest/gtest.h>

namespace endgrade::cli {
namespace {

// Exit codes: design.md, "The command line".
TEST(Tally, PassNeedsEveryPictureToPass) {
  Tally tally;
  EXPECT_EQ(tally.ExitCode(), kBadInput) << "no picture at all is not a pass";
  tally.Add(Verdict::kPass, false);
  EXPECT_EQ(tally.ExitCode(), kAllPass);
  tally.Add(Verdict::kUngradable, false);
  EXPECT_EQ(tally.ExitCode(), kSomeUngradable);
  tally.Add(Verdict::kFail, false);
  EXPECT_EQ(tally.ExitCode(), kSomeFail);
  tally.Add(std::nullopt, true);
  EXPECT_EQ(tally.ExitCode(), kBadInput);
  EXPECT_EQ(tally.Text(), "4 pictures: 1 pass, 1 fail, 1 cannot be graded, 1 could not be read.");
}

TEST(Tally, AnOverlayThatCouldNotBeWrittenIsNoSuccess) {
  Tally tally;
  tally.Add(Verdict::kPass, true);
  EXPECT_EQ(tally.ExitCode(), kBadInput);
}

}  // namespace
}  // namespace endgrade::cli
