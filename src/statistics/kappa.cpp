#include "statistics/kappa.h"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <numeric>
#include <optional>
#include <string>

namespace endgrade::statistics {
namespace {

using Counts = std::vector<std::vector<int>>;

std::optional<Error> CountsProblem(const Counts& counts) {
  const auto error = [](std::string what) {
    return Error{ErrorKind::kBadOption,
                 "",
                 0,
                 std::move(what),
                 "Photograph two faces or more, each equally often and twice or more"};
  };
  if (counts.size() < 2) return error("agreement needs two faces or more");
  const int raters = std::accumulate(counts[0].begin(), counts[0].end(), 0);
  if (raters < 2) return error("agreement needs two ratings of every face or more");
  for (const auto& row : counts) {
    const bool same =
        row.size() == counts[0].size() && std::accumulate(row.begin(), row.end(), 0) == raters;
    if (!same) return error("not every face has the same number of ratings");
  }
  return std::nullopt;
}

std::vector<double> ClassShares(const Counts& counts, double num_ratings) {
  std::vector<double> shares(counts[0].size(), 0.0);
  for (const auto& row : counts) {
    for (std::size_t c = 0; c < row.size(); ++c) shares[c] += row[c] / num_ratings;
  }
  return shares;
}

double PairsOf(const std::vector<int>& row, double raters) {
  double pairs = 0;
  for (const int n : row) pairs += static_cast<double>(n) * (n - 1);
  return pairs / (raters * (raters - 1));
}

double NullError(const std::vector<double>& shares, double subjects, double raters) {
  double pq = 0;
  double skew = 0;
  for (const double p : shares) {
    pq += p * (1 - p);
    skew += p * (1 - p) * (1 - 2 * p);
  }
  return std::sqrt(2 * (pq * pq - skew) / (pq * pq * subjects * raters * (raters - 1)));
}

double ErrorOverSubjects(const Counts& counts,
                         const std::vector<double>& shares,
                         const Agreement& a) {
  const double subjects = a.num_subjects;
  double sum = 0;
  for (const auto& row : counts) {
    double chance = 0;
    for (std::size_t c = 0; c < row.size(); ++c) chance += shares[c] * row[c] / a.num_raters;
    const double own = (PairsOf(row, a.num_raters) - a.expected) / (1 - a.expected);
    const double moved = own - 2 * (1 - a.kappa) * (chance - a.expected) / (1 - a.expected);
    sum += (moved - a.kappa) * (moved - a.kappa);
  }
  return std::sqrt(sum / (subjects * (subjects - 1)));
}

}  // namespace

Result<Agreement> FleissAgreement(const Counts& counts) {
  if (auto problem = CountsProblem(counts)) return *problem;
  Agreement a;
  a.num_subjects = static_cast<int>(counts.size());
  a.num_raters = std::accumulate(counts[0].begin(), counts[0].end(), 0);
  const auto shares = ClassShares(counts, static_cast<double>(a.num_subjects) * a.num_raters);
  for (const auto& row : counts) {
    const double pairs = PairsOf(row, a.num_raters);
    a.pairs_agree += pairs / a.num_subjects;
    if (*std::max_element(row.begin(), row.end()) == a.num_raters) a.all_agree += 1;
  }
  a.all_agree /= a.num_subjects;
  for (const double p : shares) a.expected += p * p;
  a.kappa_known = *std::max_element(shares.begin(), shares.end()) < 1 - 1e-12;
  if (!a.kappa_known) return a;
  a.kappa = (a.pairs_agree - a.expected) / (1 - a.expected);
  a.null_error = NullError(shares, a.num_subjects, a.num_raters);
  const double t = boost::math::quantile(boost::math::students_t(a.num_subjects - 1), 0.975);
  const double reach = t * ErrorOverSubjects(counts, shares, a);
  a.kappa_interval = {std::max(-1.0, a.kappa - reach), std::min(1.0, a.kappa + reach)};
  return a;
}

}  // namespace endgrade::statistics
