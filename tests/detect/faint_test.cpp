#include "detect/faint.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

// Glass of 100 within 62.5 um, ferrule of 200 around it.
ContrastMap Map(double noise) {
  ContrastMap map;
  map.glass_level = 100;
  map.glass_noise = noise;
  map.cladding_radius_um = 62.5;
  map.ring_level = {100, 200};
  map.ring_edges_um = {0, 62.5, 140};
  for (int quarter = 0; quarter < 560; ++quarter) {
    map.ring_by_quarter_um.push_back(quarter < 250 ? 0 : 1);
  }
  return map;
}

TEST(LeastBelievedSnr, AWideFaintThingOnTheFerruleMayBeItsGrain) {
  const ContrastMap map = Map(2.0);
  EXPECT_EQ(LeastBelievedSnr(map, 100, 12, -15, 5), 7.0);  // 7.5 % of the ferrule's light
  EXPECT_EQ(LeastBelievedSnr(map, 100, 12, -19, 5), 5.0);
  EXPECT_EQ(LeastBelievedSnr(map, 100, 3, -15, 5), 5.0);
  EXPECT_EQ(LeastBelievedSnr(map, 40, 12, -7.5, 5), 5.0);  // the same share of the glass's
}

TEST(LeastBelievedSnr, NobodySeesAPerCent) {
  EXPECT_GT(LeastBelievedSnr(Map(2.0), 40, 12, -1.0, 5), 1e9);
  EXPECT_EQ(LeastBelievedSnr(Map(2.0), 40, 12, -3.0, 5), 7.0);
}

TEST(LeastBelievedLineSnr, AFaintLineOnTheFerruleMayBeTheLayOfItsPolish) {
  const ContrastMap map = Map(2.0);
  EXPECT_EQ(LeastBelievedLineSnr(map, 100, -15), 11.0);
  EXPECT_EQ(LeastBelievedLineSnr(map, 100, -19), 0.0);
  EXPECT_EQ(LeastBelievedLineSnr(map, 40, -3), 0.0);
}

}  // namespace
}  // namespace endgrade
