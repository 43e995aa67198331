#include "statistics/kappa.h"

#include <gtest/gtest.h>

#include <cmath>

namespace endgrade::statistics {
namespace {

using Counts = std::vector<std::vector<int>>;

// Fleiss 1971, table 1: 30 patients, 6 psychiatrists, 5 diagnoses (from memory; that it gives the
// published figures confirms it).
const Counts kDiagnoses = {
    {0, 0, 0, 6, 0}, {0, 3, 0, 0, 3}, {0, 1, 4, 0, 1}, {0, 0, 0, 0, 6}, {0, 3, 0, 3, 0},
    {2, 0, 4, 0, 0}, {0, 0, 4, 0, 2}, {2, 0, 3, 1, 0}, {2, 0, 0, 4, 0}, {0, 0, 0, 0, 6},
    {1, 0, 0, 5, 0}, {1, 1, 0, 4, 0}, {0, 3, 3, 0, 0}, {1, 0, 0, 5, 0}, {0, 2, 0, 3, 1},
    {0, 0, 5, 0, 1}, {3, 0, 0, 1, 2}, {5, 1, 0, 0, 0}, {0, 2, 0, 4, 0}, {1, 0, 2, 0, 3},
    {0, 0, 0, 0, 6}, {0, 1, 0, 5, 0}, {0, 2, 0, 1, 3}, {2, 0, 0, 4, 0}, {1, 0, 0, 4, 1},
    {0, 5, 0, 1, 0}, {4, 0, 0, 0, 2}, {0, 2, 0, 4, 0}, {1, 0, 5, 0, 0}, {0, 0, 0, 0, 6}};

// Published: agreement 0.556, by chance 0.220, kappa 0.430 (Fleiss 1971); z = 17.65 with the
// standard error of Fleiss, Nee and Landis 1979, as the package irr of R also gives it (17.7).
TEST(FleissAgreement, GivesFleissOwnExample) {
  const auto a = FleissAgreement(kDiagnoses);
  ASSERT_TRUE(a.ok());
  EXPECT_NEAR(a->pairs_agree, 0.556, 0.0005);
  EXPECT_NEAR(a->expected, 0.220, 0.0005);
  EXPECT_NEAR(a->kappa, 0.430, 0.0005);
  EXPECT_NEAR(a->kappa / a->null_error, 17.65, 0.005);
  EXPECT_NEAR(a->all_agree, 5.0 / 30, 1e-12);  // rows with a 6, counted by hand
}

// 10 subjects, 14 raters, 5 classes: kappa 0.210, the example of many textbooks.
TEST(FleissAgreement, GivesTheTextbookExample) {
  const auto a = FleissAgreement({{0, 0, 0, 0, 14},
                                  {0, 2, 6, 4, 2},
                                  {0, 0, 3, 5, 6},
                                  {0, 3, 9, 2, 0},
                                  {2, 2, 8, 1, 1},
                                  {7, 7, 0, 0, 0},
                                  {3, 2, 6, 3, 0},
                                  {2, 5, 3, 2, 2},
                                  {6, 5, 2, 1, 0},
                                  {0, 2, 2, 3, 7}});
  ASSERT_TRUE(a.ok());
  EXPECT_NEAR(a->pairs_agree, 0.378, 0.0005);
  EXPECT_NEAR(a->expected, 0.213, 0.0005);
  EXPECT_NEAR(a->kappa, 0.210, 0.0005);
}

// The interval's error against the jackknife, another way to the same quantity: kappa again and
// again with one subject left out.
TEST(FleissAgreement, HasAnIntervalThatTheJackknifeConfirms) {
  const auto whole = FleissAgreement(kDiagnoses);
  const auto n = static_cast<double>(kDiagnoses.size());
  std::vector<double> kappas;
  double mean = 0;
  for (std::size_t i = 0; i < kDiagnoses.size(); ++i) {
    Counts rest = kDiagnoses;
    rest.erase(rest.begin() + static_cast<std::ptrdiff_t>(i));
    kappas.push_back(FleissAgreement(rest)->kappa);
    mean += kappas.back() / n;
  }
  double sum = 0;
  for (const double kappa : kappas) sum += (kappa - mean) * (kappa - mean);
  const double jackknife = std::sqrt((n - 1) / n * sum);
  const double reach = (whole->kappa_interval.high - whole->kappa_interval.low) / 2;
  constexpr double kT = 2.045;  // 0.975 quantile of Student's t, 29 degrees: printed tables
  EXPECT_NEAR(reach, kT * jackknife, 0.03 * reach);  // equal as n grows; 30 subjects: 2 %
  EXPECT_NEAR(whole->kappa_interval.low + reach, whole->kappa, 1e-12);
}

TEST(FleissAgreement, KnowsPerfectAgreement) {
  const auto a = FleissAgreement({{4, 0}, {0, 4}, {4, 0}});
  ASSERT_TRUE(a.ok());
  EXPECT_DOUBLE_EQ(a->kappa, 1.0);
  EXPECT_DOUBLE_EQ(a->all_agree, 1.0);
}

TEST(FleissAgreement, SaysWhenKappaCannotBeKnown) {
  const auto a = FleissAgreement({{4, 0}, {4, 0}});
  ASSERT_TRUE(a.ok());
  EXPECT_FALSE(a->kappa_known);
  EXPECT_DOUBLE_EQ(a->pairs_agree, 1.0);
}

TEST(FleissAgreement, RefusesTooLittleAndUneven) {
  EXPECT_FALSE(FleissAgreement({}).ok());
  EXPECT_FALSE(FleissAgreement({{2, 0}}).ok());
  EXPECT_FALSE(FleissAgreement({{1, 0}, {1, 0}}).ok());
  EXPECT_FALSE(FleissAgreement({{2, 0}, {2, 1}}).ok());
}

}  // namespace
}  // namespace endgrade::statistics
