// Worked examples of JCGM 106:2012, "The role of measurement uncertainty in conformity assessment".
// Their figures are quoted from memory, without the document at hand; every result is also derived
// here or by the command that is named.
#include "tests/judge/good_picture.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace endgrade {
namespace {

double NormalCdf(double x) { return 0.5 * std::erfc(-x / std::sqrt(2.0)); }

// Clause 7.4: conformance probability for one upper tolerance limit T and a normal measurand.
double ConformanceProbability(double measured, double limit, double u) {
  return NormalCdf((limit - measured) / u);
}

// A defect in zone D of sm-upc, where none may be over 10 um.
constexpr double kLimit_um = 10.0;

Verdict VerdictOf(double size_um, double standard_uncertainty_um, DecisionRule decision) {
  Picture picture("sm-upc");
  picture.Add(kDefect, "D", size_um, 2 * standard_uncertainty_um);
  picture.options.decision = decision;
  return picture.Judged().verdict;
}

// Clause 7.4's example, from memory: the breakdown voltage of a Zener diode is measured as -5.47 V
// with u = 0.05 V, and is to be at most -5.40 V: the conformance probability is Phi(1.40) = 92 %.
// Here 10 um stands for -5.40 V and 1 um for 1 V.
TEST(Jcgm106, ZenerDiodeIsAcceptedSimplyButNotGuarded) {
  constexpr double kVoltage = -5.47;
  constexpr double kMost = -5.40;
  constexpr double kU = 0.05;
  EXPECT_NEAR(ConformanceProbability(kVoltage, kMost, kU), 0.92, 0.005);
  const double size_um = kLimit_um + (kVoltage - kMost);
  EXPECT_EQ(VerdictOf(size_um, kU, DecisionRule::kSimple), Verdict::kPass);
  EXPECT_EQ(VerdictOf(size_um, kU, DecisionRule::kGuarded), Verdict::kFail);
}

// Clause 8.3.2: acceptance limit A = T - w, w = r U, r = 1, U = 2 u. At A itself the conformance
// probability is Phi(2) = 97.7 %, so guarded acceptance is: pass exactly when it is no less.
TEST(Jcgm106, GuardedAcceptanceIsAConformanceProbabilityOf97Point7Percent) {
  constexpr double kLeast = 0.97724986805;  // scipy.stats.norm.cdf(2)
  for (const double u_um : {0.02, 0.1, 0.35, 1.0, 2.5}) {
    for (double step = -6.25; step < 3; step += 0.5) {
      const double size_um = kLimit_um + step * u_um;
      if (size_um <= 0) continue;
      const bool sure = ConformanceProbability(size_um, kLimit_um, u_um) >= kLeast;
      const bool likely = ConformanceProbability(size_um, kLimit_um, u_um) >= 0.5;
      EXPECT_EQ(VerdictOf(size_um, u_um, DecisionRule::kGuarded) == Verdict::kPass, sure)
          << size_um << " +/- " << u_um;
      EXPECT_EQ(VerdictOf(size_um, u_um, DecisionRule::kSimple) == Verdict::kPass, likely)
          << size_um << " +/- " << u_um;
    }
  }
}

// Clause 9's global risks, of a whole production. The figures are those of its precision resistors
// (u0 = 0.12, u = 0.04, limit 0.2 above nominal; from memory) times ten, with the upper limit only:
// true sizes are normal about 8 um with 1.2 um, measured with u = 0.4 um, and may be 10 um at most.
// Expected by scipy.integrate.quad (1.10.1) over the true size e, pdf p, acceptance limit A:
//   consumer's risk, accepted though not conforming: int_T^inf Phi((A - e) / u) p(e) de
//   producer's risk, rejected though conforming:     int_-inf^T (1 - Phi((A - e) / u)) p(e) de
//   A = T (simple): 0.009471 and 0.018604; A = T - 2 u (guarded): 0.000234 and 0.123835
struct GlobalRisk {
  int consumer = 0;
  int producer = 0;
};

GlobalRisk ProduceAndJudge(DecisionRule decision, int count) {
  std::mt19937_64 bits(106);
  std::normal_distribution<double> made(8.0, 1.2);
  std::normal_distribution<double> error(0.0, 0.4);
  GlobalRisk risk;
  for (int i = 0; i < count; ++i) {
    const double true_um = made(bits);
    const double measured_um = std::max(0.0, true_um + error(bits));
    const bool accepted = VerdictOf(measured_um, 0.4, decision) == Verdict::kPass;
    risk.consumer += accepted && true_um > kLimit_um ? 1 : 0;
    risk.producer += !accepted && true_um <= kLimit_um ? 1 : 0;
  }
  return risk;
}

void ExpectShare(int found, int count, double share) {
  // Four standard deviations of a binomial count.
  const double spread = std::sqrt(count * share * (1 - share));
  EXPECT_NEAR(found, count * share, 4 * spread) << "of " << count;
}

TEST(Jcgm106, GlobalRisksOfAProductionAreThoseOfTheIntegrals) {
  constexpr int kCount = 20000;
  const GlobalRisk simple = ProduceAndJudge(DecisionRule::kSimple, kCount);
  ExpectShare(simple.consumer, kCount, 0.009471);
  ExpectShare(simple.producer, kCount, 0.018604);
  const GlobalRisk guarded = ProduceAndJudge(DecisionRule::kGuarded, kCount);
  ExpectShare(guarded.consumer, kCount, 0.000234);
  ExpectShare(guarded.producer, kCount, 0.123835);
}

}  // namespace
}  // namespace endgrade
