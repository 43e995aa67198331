#include "cli/run_in_order.h"

#include <gmock/gmock.h>

#include <atomic>
#include <chrono>
#include <new>
#include <numeric>

namespace endgrade::cli {
namespace {

std::vector<std::size_t> UpTo(std::size_t count) {
  std::vector<std::size_t> values(count);
  std::iota(values.begin(), values.end(), std::size_t{0});
  return values;
}

class RunInOrderOnThreads : public ::testing::TestWithParam<int> {};

TEST_P(RunInOrderOnThreads, EmitsEveryResultOnceInOrder) {
  constexpr std::size_t kCount = 200;
  std::vector<std::atomic<int>> calls(kCount);
  std::vector<std::size_t> emitted;
  RunInOrder<std::size_t>(
      kCount,
      GetParam(),
      [&](std::size_t i) {
        ++calls[i];
        // Early ones take longest, so that later ones are ready before them.
        std::this_thread::sleep_for(std::chrono::microseconds(300 - i));
        return i * i;
      },
      [&](std::size_t i, std::size_t value) {
        EXPECT_EQ(value, i * i);
        emitted.push_back(i);
        return true;
      });
  EXPECT_EQ(emitted, UpTo(kCount));
  for (const auto& c : calls) EXPECT_EQ(c, 1);
}

TEST_P(RunInOrderOnThreads, StopsWhenEmitSaysSo) {
  std::atomic<std::size_t> begun = 0;
  std::size_t emitted = 0;
  RunInOrder<int>(
      1000,
      GetParam(),
      [&](std::size_t) {
        ++begun;
        return 0;
      },
      [&](std::size_t, int) { return ++emitted < 5; });
  EXPECT_EQ(emitted, 5U);
  const auto window = 2 * static_cast<std::size_t>(GetParam());
  EXPECT_LE(begun, 5 + window);
}

TEST_P(RunInOrderOnThreads, NeverHoldsMoreThanTwoResultsAThread) {
  std::atomic<std::size_t> begun = 0;
  const auto window = 2 * static_cast<std::size_t>(GetParam());
  RunInOrder<int>(
      60,
      GetParam(),
      [&](std::size_t) {
        ++begun;
        return 0;
      },
      [&](std::size_t i, int) {
        std::this_thread::sleep_for(std::chrono::milliseconds(1));
        EXPECT_LE(begun, i + window);
        return true;
      });
}

TEST_P(RunInOrderOnThreads, DoesNothingForNothing) {
  RunInOrder<int>(
      0,
      GetParam(),
      [](std::size_t) -> int {
        ADD_FAILURE();
        return 0;
      },
      [](std::size_t, int) {
        ADD_FAILURE();
        return true;
      });
}

// With a full window behind it, so that all threads wait for room when it happens.
TEST_P(RunInOrderOnThreads, EndsAndThrowsOnWhatEmitThrows) {
  std::size_t emitted = 0;
  const auto run = [&] {
    RunInOrder<int>(
        1000,
        GetParam(),
        [](std::size_t) { return 0; },
        [&](std::size_t, int) -> bool {
          std::this_thread::sleep_for(std::chrono::milliseconds(2));
          if (++emitted == 5) throw std::bad_alloc();
          return true;
        });
  };
  EXPECT_THROW(run(), std::bad_alloc);
  EXPECT_EQ(emitted, 5U);
}

TEST_P(RunInOrderOnThreads, EndsAndThrowsOnWhatWorkThrows) {
  std::size_t emitted = 0;
  const auto run = [&] {
    RunInOrder<int>(
        1000,
        GetParam(),
        [](std::size_t i) {
          if (i == 5) throw std::bad_alloc();
          return 0;
        },
        [&](std::size_t, int) {
          ++emitted;
          return true;
        });
  };
  EXPECT_THROW(run(), std::bad_alloc);
  EXPECT_LE(emitted, 5U);
}

INSTANTIATE_TEST_SUITE_P(Threads, RunInOrderOnThreads, ::testing::Values(1, 2, 7));

}  // namespace
}  // namespace endgrade::cli
