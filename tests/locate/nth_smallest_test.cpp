#include "locate/nth_smallest.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

namespace endgrade::locate {
namespace {

// What the standard library says.
float ByNthElement(std::vector<float> values, std::size_t rank) {
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(rank);
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

void ExpectSame(const std::vector<float>& values, std::size_t rank) {
  std::vector<float> spare = values;
  EXPECT_EQ(NthSmallest(&spare, rank), ByNthElement(values, rank))
      << values.size() << " values, rank " << rank;
}

TEST(NthSmallest, AgreesWithTheStandardLibraryOnValuesOfAnyNumber) {
  std::mt19937 random(7);
  std::normal_distribution<float> normal;
  for (std::size_t count = 1; count < 700; count += 1 + count / 9) {
    std::vector<float> values(count);
    for (float& value : values) value = normal(random);
    for (const std::size_t rank : {std::size_t{0}, count / 3, count / 2, count - 1}) {
      ExpectSame(values, rank);
    }
  }
}

TEST(NthSmallest, CopesWithManyThatAreAlikeAndWithThoseInOrder) {
  std::vector<float> alike(300, 2.5F);
  ExpectSame(alike, 150);
  std::vector<float> few;
  std::vector<float> ordered;
  for (int i = 0; i < 500; ++i) {
    few.push_back(static_cast<float>(i * 7 % 3));
    ordered.push_back(static_cast<float>(i - 100));
  }
  for (const std::size_t rank : {0, 100, 170, 250, 499}) {
    ExpectSame(few, rank);
    ExpectSame(ordered, rank);
    ExpectSame({ordered.rbegin(), ordered.rend()}, rank);
  }
}

}  // namespace
}  // namespace endgrade::locate
