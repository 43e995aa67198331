#include "statistics/gauge.h"

#include <algorithm>
#include <boost/math/distributions/fisher_f.hpp>
#include <cmath>

namespace endgrade::statistics {
namespace {

constexpr double kPoolAbove = 0.25;  // AIAG MSA, 4th edition, from memory

struct Sizes {
  std::size_t parts, operators, trials;
};

std::optional<Error> ValuesProblem(const GaugeValues& values) {
  const auto error = [](const char* what) {
    return Error{ErrorKind::kBadOption,
                 "",
                 0,
                 what,
                 "Measure two faces or more, by two people or cameras or more, each twice or more"};
  };
  if (values.size() < 2) return error("a gauge study needs two parts or more");
  if (values[0].size() < 2) return error("a gauge study needs two people or cameras or more");
  if (values[0][0].size() < 2) return error("a gauge study needs two repetitions or more");
  for (const auto& part : values) {
    if (part.size() != values[0].size()) return error("not every part has all its measurements");
    for (const auto& cell : part) {
      if (cell.size() != values[0][0].size()) {
        return error("not every part has all its measurements");
      }
    }
  }
  return std::nullopt;
}

double Square(double x) { return x * x; }

// Means over parts, operators and cells, and the grand mean.
struct Means {
  std::vector<double> part, operator_;
  std::vector<std::vector<double>> cell;
  double all = 0;
};

Means MeansOf(const GaugeValues& values, const Sizes& n) {
  Means means{std::vector<double>(n.parts),
              std::vector<double>(n.operators),
              std::vector<std::vector<double>>(n.parts, std::vector<double>(n.operators)),
              0};
  for (std::size_t p = 0; p < n.parts; ++p) {
    for (std::size_t o = 0; o < n.operators; ++o) {
      for (const double x : values[p][o]) {
        means.cell[p][o] += x / static_cast<double>(n.trials);
      }
      means.part[p] += means.cell[p][o] / static_cast<double>(n.operators);
      means.operator_[o] += means.cell[p][o] / static_cast<double>(n.parts);
    }
    means.all += means.part[p] / static_cast<double>(n.parts);
  }
  return means;
}

void FillTable(const GaugeValues& values, const Sizes& n, GaugeStudy* study) {
  const Means m = MeansOf(values, n);
  const auto P = static_cast<double>(n.parts);
  const auto O = static_cast<double>(n.operators);
  const auto T = static_cast<double>(n.trials);
  for (const double mean : m.part) study->parts.sum_of_squares += O * T * Square(mean - m.all);
  for (const double mean : m.operator_) {
    study->operators.sum_of_squares += P * T * Square(mean - m.all);
  }
  for (std::size_t p = 0; p < n.parts; ++p) {
    for (std::size_t o = 0; o < n.operators; ++o) {
      study->interaction.sum_of_squares +=
          T * Square(m.cell[p][o] - m.part[p] - m.operator_[o] + m.all);
      for (const double x : values[p][o]) {
        study->repeat.sum_of_squares += Square(x - m.cell[p][o]);
        study->total.sum_of_squares += Square(x - m.all);
      }
    }
  }
  const auto parts = static_cast<int>(n.parts);
  const auto operators = static_cast<int>(n.operators);
  const auto trials = static_cast<int>(n.trials);
  study->parts.degrees = parts - 1;
  study->operators.degrees = operators - 1;
  study->interaction.degrees = (parts - 1) * (operators - 1);
  study->repeat.degrees = parts * operators * (trials - 1);
  study->total.degrees = parts * operators * trials - 1;
}

double InteractionP(const GaugeStudy& study) {
  // No spread between repetitions at all: any interaction is significant, none is not.
  if (study.repeat.MeanSquare() <= 0) return study.interaction.MeanSquare() > 0 ? 0 : 1;
  const boost::math::fisher_f law(study.interaction.degrees, study.repeat.degrees);
  const double f = study.interaction.MeanSquare() / study.repeat.MeanSquare();
  return boost::math::cdf(boost::math::complement(law, f));
}

double Part(double variance) { return std::max(0.0, variance); }

}  // namespace

Result<GaugeStudy> StudyGauge(const GaugeValues& values) {
  if (auto problem = ValuesProblem(values)) return *problem;
  const Sizes n{values.size(), values[0].size(), values[0][0].size()};
  const auto P = static_cast<double>(n.parts);
  const auto O = static_cast<double>(n.operators);
  const auto T = static_cast<double>(n.trials);
  GaugeStudy study;
  FillTable(values, n, &study);
  study.interaction_p = InteractionP(study);
  study.pooled = study.interaction_p > kPoolAbove;
  const AnovaLine together{study.repeat.sum_of_squares + study.interaction.sum_of_squares,
                           study.repeat.degrees + study.interaction.degrees};
  const double repeat = study.pooled ? together.MeanSquare() : study.repeat.MeanSquare();
  const double against = study.pooled ? repeat : study.interaction.MeanSquare();
  const double interaction = study.pooled ? 0 : Part((against - repeat) / T);
  const double operators = Part((study.operators.MeanSquare() - against) / (P * T));
  const double parts = Part((study.parts.MeanSquare() - against) / (O * T));
  study.repeatability = std::sqrt(repeat);
  study.reproducibility = std::sqrt(operators + interaction);
  study.gauge = std::sqrt(repeat + operators + interaction);
  study.part_variation = std::sqrt(parts);
  study.total_variation = std::sqrt(Square(study.gauge) + parts);
  return study;
}

}  // namespace endgrade::statistics
