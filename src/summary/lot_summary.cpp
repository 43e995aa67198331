#include "summary/lot_summary.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <numbers>
#include <set>

namespace endgrade::summary {
namespace {

constexpr double kCoreZone_um = 25;

void Count(State first, State last, Yield* yield) {
  ++yield->trials;
  if (first == State::kPass) ++yield->first;
  if (last == State::kPass) ++yield->last;
}

void AddIntervals(std::vector<Yield>* yields) {
  for (Yield& yield : *yields) {
    yield.first_interval = statistics::WilsonInterval(yield.first, yield.trials);
    yield.last_interval = statistics::WilsonInterval(yield.last, yield.trials);
  }
}

std::vector<Yield> YieldsOf(const std::vector<Cord>& cords) {
  Yield by_cord;
  Yield all;
  by_cord.of = "cords";
  all.of = "faces";
  std::map<std::string, Yield> by_end;
  std::map<std::string, Yield> by_kind;
  for (const Cord& cord : cords) {
    Count(cord.first, cord.last, &by_cord);
    for (const Face& face : cord.faces) {
      const std::string& kind =
          face.face.kind.empty() ? face.attempts.back().limits_id : face.face.kind;
      Count(face.first, face.last, &all);
      Count(face.first, face.last, &by_end[face.face.end]);
      Count(face.first, face.last, &by_kind[kind]);
    }
  }
  std::vector<Yield> yields = {by_cord, all};
  const auto add = [&](const char* what, std::map<std::string, Yield>& parts) {
    for (auto& [name, yield] : parts) {
      yield.of = what + (name.empty() ? "not named" : name);
      yields.push_back(yield);
    }
  };
  add("end ", by_end);
  add("kind ", by_kind);
  AddIntervals(&yields);
  return yields;
}

std::vector<Cause> CausesOf(const std::vector<Cord>& cords) {
  std::map<std::pair<std::string, std::string>, Cause> causes;
  const auto count = [&](const Attempt& attempt, int Cause::*which) {
    if (attempt.contested) return;
    std::set<std::pair<std::string, std::string>> once;
    for (const BrokenRule& rule : attempt.broken) once.emplace(rule.zone, rule.text);
    for (const auto& key : once) {
      Cause& cause = causes[key];
      cause.zone = key.first;
      cause.rule = key.second;
      ++(cause.*which);
    }
  };
  for (const Cord& cord : cords) {
    for (const Face& face : cord.faces) {
      count(face.attempts.front(), &Cause::first);
      count(face.attempts.back(), &Cause::last);
    }
  }
  std::vector<Cause> sorted;
  int total = 0;
  for (const auto& [key, cause] : causes) {
    sorted.push_back(cause);
    total += cause.first;
  }
  std::stable_sort(sorted.begin(), sorted.end(), [](const Cause& a, const Cause& b) {
    return a.first != b.first ? a.first > b.first : a.last > b.last;
  });
  int so_far = 0;
  for (Cause& cause : sorted) {
    so_far += cause.first;
    cause.cumulative = total > 0 ? static_cast<double>(so_far) / total : 0;
  }
  return sorted;
}

DensityMap MapOf(const std::vector<Cord>& cords) {
  DensityMap map;
  std::vector<double> angles_deg;
  const auto cell = [](double at_um) {
    return static_cast<int>(std::floor((at_um + kMapHalf_um) / (2 * kMapHalf_um) * kMapCells));
  };
  for (const Cord& cord : cords) {
    for (const Face& face : cord.faces) {
      if (face.attempts.front().contested) continue;
      for (const Mark& mark : face.attempts.front().marks) {
        const double radius = std::hypot(mark.x_um, mark.y_um);
        if (!(radius < kMapHalf_um)) continue;
        int& count = map.counts[static_cast<std::size_t>(cell(mark.y_um))]
                               [static_cast<std::size_t>(cell(mark.x_um))];
        map.most = std::max(map.most, ++count);
        ++map.total;
        if (radius < kCoreZone_um / 2) continue;
        angles_deg.push_back(std::atan2(mark.y_um, mark.x_um) * 180 / std::numbers::pi);
      }
    }
  }
  map.direction = statistics::TestDirections(angles_deg);
  return map;
}

statistics::ControlChart TrendOf(const std::vector<Cord>& cords) {
  constexpr std::size_t kDay = 10;  // "2026-11-25"
  std::map<std::string, statistics::Subgroup> days;
  for (const Cord& cord : cords) {
    for (const Face& face : cord.faces) {
      const std::string day = face.attempts.front().taken_at.substr(0, kDay);
      statistics::Subgroup& group = days[day];
      group.name = day;
      ++group.trials;
      if (face.first != State::kPass) ++group.count;
    }
  }
  std::vector<statistics::Subgroup> groups;
  for (const auto& [day, group] : days) groups.push_back(group);
  return statistics::ChartOfShares(groups);
}

}  // namespace

LotSummary Summarise(const Cords& cords, const lot::Settings& settings) {
  LotSummary summary;
  summary.yields = YieldsOf(cords.cords);
  summary.causes = CausesOf(cords.cords);
  summary.map = MapOf(cords.cords);
  summary.trend = TrendOf(cords.cords);
  summary.decision = Decide(cords.cords, settings);
  return summary;
}

}  // namespace endgrade::summary
