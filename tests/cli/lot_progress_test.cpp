#include "cli/lot_progress.h"

#include <gtest/gtest.h>

namespace endgrade::cli {
namespace {

TEST(ProgressWords, SayRateAndTimeLeft) {
  EXPECT_EQ(ProgressWords(250, 1000, 20, false), "250 of 1000, 25 %, 12.5/s, 60 s left");
  EXPECT_EQ(ProgressWords(250, 1000, 20, true),
            "[######------------------] 250 of 1000, 25 %, 12.5/s, 60 s left");
  EXPECT_EQ(ProgressWords(10, 10000, 10, false), "10 of 10000, 0 %, 1.0/s, 3 h left");
  EXPECT_EQ(ProgressWords(10, 10, 10, false), "10 of 10, 100 %, 1.0/s");
}

TEST(ProgressWords, SayNothingThatIsNotKnown) {
  EXPECT_EQ(ProgressWords(0, 10, 0, false), "0 of 10, 0 %");
  EXPECT_EQ(ProgressWords(0, 0, 0, false), "0 of 0, 100 %");
}

}  // namespace
}  // namespace endgrade::cli
