#include "statistics/gauge.h"

#include <gtest/gtest.h>

namespace endgrade::statistics {
namespace {

// AIAG, Measurement Systems Analysis, 4th edition, figure III-B 6: 10 parts, 3 appraisers, 3 trials
// (from memory; that it gives the published table confirms it).
constexpr double kData[3][3][10] = {
    {{0.29, -0.56, 1.34, 0.47, -0.80, 0.02, 0.59, -0.31, 2.26, -1.36},
     {0.41, -0.68, 1.17, 0.50, -0.92, -0.11, 0.75, -0.20, 1.99, -1.25},
     {0.64, -0.58, 1.27, 0.64, -0.84, -0.21, 0.66, -0.17, 2.01, -1.31}},
    {{0.08, -0.47, 1.19, 0.01, -0.56, -0.20, 0.47, -0.63, 1.80, -1.68},
     {0.25, -1.22, 0.94, 1.03, -1.20, 0.22, 0.55, 0.08, 2.12, -1.62},
     {0.07, -0.68, 1.34, 0.20, -1.28, 0.06, 0.83, -0.34, 2.19, -1.50}},
    {{0.04, -1.38, 0.88, 0.14, -1.46, -0.29, 0.02, -0.46, 1.77, -1.49},
     {-0.11, -1.13, 1.09, 0.20, -1.07, -0.67, 0.01, -0.56, 1.45, -1.77},
     {-0.15, -0.96, 0.67, 0.11, -1.45, -0.49, 0.21, -0.49, 1.87, -2.16}}};

GaugeValues Handbook() {
  GaugeValues values(10, std::vector<std::vector<double>>(3, std::vector<double>(3)));
  for (std::size_t o = 0; o < 3; ++o) {
    for (std::size_t t = 0; t < 3; ++t) {
      for (std::size_t p = 0; p < 10; ++p) values[p][o][t] = kData[o][t][p];
    }
  }
  return values;
}

// The handbook's analysis of variance: sums of squares 3.1673, 88.3619, 0.3590, 2.7589, 94.6471; EV
// 0.199933, AV 0.226838, PV 1.042327, and 27.9 % of the total variation. GRR is printed with the
// rounding of its parts (0.302373): checked against the root of their squares, 0.302372.
TEST(StudyGauge, GivesTheHandbooksAnalysisOfVariance) {
  const auto study = StudyGauge(Handbook());
  ASSERT_TRUE(study.ok());
  EXPECT_NEAR(study->operators.sum_of_squares, 3.1673, 0.00005);
  EXPECT_NEAR(study->parts.sum_of_squares, 88.3619, 0.00005);
  EXPECT_NEAR(study->interaction.sum_of_squares, 0.3590, 0.00005);
  EXPECT_NEAR(study->repeat.sum_of_squares, 2.7589, 0.00005);
  EXPECT_NEAR(study->total.sum_of_squares, 94.6471, 0.00005);
  EXPECT_EQ(study->interaction.degrees, 18);
  EXPECT_EQ(study->repeat.degrees, 60);
  EXPECT_NEAR(study->interaction.MeanSquare() / study->repeat.MeanSquare(), 0.434, 0.0005);
  EXPECT_TRUE(study->pooled);
  EXPECT_NEAR(study->repeatability, 0.199933, 5e-7);
  EXPECT_NEAR(study->reproducibility, 0.226838, 5e-7);
  EXPECT_NEAR(study->gauge, 0.302372, 1e-6);
  EXPECT_NEAR(study->part_variation, 1.042327, 1e-6);
  EXPECT_NEAR(study->PercentOfTotal(), 27.9, 0.05);
}

// Six standard deviations over a tolerance: 6 * 0.302372 / 3.628464 = 0.5.
TEST(StudyGauge, ComparesWithATolerance) {
  EXPECT_NEAR(StudyGauge(Handbook())->PercentOfTolerance(12 * 0.302372), 50, 0.001);
}

TEST(StudyGauge, KeepsAnInteractionThatMatters) {
  GaugeValues values = {{{1.0, 1.01}, {2.0, 2.01}}, {{2.0, 2.01}, {1.0, 1.01}}};
  const auto study = StudyGauge(values);
  ASSERT_TRUE(study.ok());
  EXPECT_FALSE(study->pooled);
  EXPECT_GT(study->reproducibility, 0.4);
  EXPECT_LT(study->repeatability, 0.01);
}

TEST(StudyGauge, FindsNothingWhereNothingVaries) {
  const auto study = StudyGauge({{{1, 1}, {1, 1}}, {{2, 2}, {2, 2}}});
  ASSERT_TRUE(study.ok());
  EXPECT_EQ(study->gauge, 0.0);
  EXPECT_NEAR(study->part_variation, 0.7071, 0.0001);  // of 1 and 2
}

TEST(StudyGauge, RefusesHolesAndTooLittle) {
  EXPECT_FALSE(StudyGauge({}).ok());
  EXPECT_FALSE(StudyGauge({{{1, 2}, {1, 2}}}).ok());
  EXPECT_FALSE(StudyGauge({{{1, 2}}, {{1, 2}}}).ok());
  EXPECT_FALSE(StudyGauge({{{1}, {1}}, {{1}, {1}}}).ok());
  EXPECT_FALSE(StudyGauge({{{1, 2}, {1, 2}}, {{1, 2}, {1}}}).ok());
}

}  // namespace
}  // namespace endgrade::statistics
