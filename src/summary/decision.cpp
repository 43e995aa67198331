#include "summary/decision.h"

#include "core/sha256.h"

#include <algorithm>
#include <utility>

namespace endgrade::summary {
namespace {

using CordList = std::vector<const Cord*>;

CordList Drawn(const std::vector<Cord>& cords, const std::string& draw, int size) {
  std::vector<std::pair<std::string, const Cord*>> order;
  order.reserve(cords.size());
  for (const Cord& cord : cords) order.emplace_back(Sha256Hex(draw + " " + cord.name), &cord);
  std::sort(order.begin(), order.end());
  CordList sample;
  for (const auto& [hash, cord] : order) {
    if (sample.size() < static_cast<std::size_t>(size)) sample.push_back(cord);
  }
  std::sort(
      sample.begin(), sample.end(), [](const Cord* a, const Cord* b) { return a->name < b->name; });
  return sample;
}

void CountSample(const CordList& sample, Decision* decision) {
  for (const Cord* cord : sample) {
    decision->sample.push_back(cord->name);
    ++decision->num_inspected;
    if (cord->last == State::kFail) ++decision->num_failing;
    if (cord->last == State::kOpen) ++decision->num_open;
  }
}

std::string NumCords(int count) {
  return std::to_string(count) + (count == 1 ? " cord" : " cords");
}

std::string OpenWords(int open) {
  return NumCords(open) + (open == 1 ? " is" : " are") +
         " not decided: photograph again what could not be graded, and what is missing.";
}

void DecideByPlan(Decision* decision) {
  const auto& plan = *decision->plan;
  const int missing = plan.sample_size - decision->num_inspected;
  const std::string found =
      NumCords(decision->num_failing) + " of " + std::to_string(decision->num_inspected) + " fail";
  if (decision->num_failing >= plan.reject_from) {
    decision->outcome = Outcome::kReject;
    decision->why = found + "; the plan rejects from " + std::to_string(plan.reject_from) + ".";
  } else if (missing > 0) {
    decision->why = "The plan asks for " + NumCords(plan.sample_size) + "; " +
                    std::to_string(missing) + " more must be photographed.";
  } else if (decision->num_failing + decision->num_open > plan.accept_up_to) {
    decision->why = found + ", and " + OpenWords(decision->num_open);
  } else {
    decision->outcome = Outcome::kAccept;
    decision->why = found + "; the plan accepts up to " + std::to_string(plan.accept_up_to) +
                    ". Cords that fail are taken out or cleaned all the same.";
  }
}

void DecideByAll(Decision* decision) {
  if (decision->num_inspected == 0) {
    decision->why = "No cord has been graded.";
  } else if (decision->num_failing > 0) {
    decision->outcome = Outcome::kReject;
    decision->why = NumCords(decision->num_failing) + " of " +
                    std::to_string(decision->num_inspected) +
                    " fail; without a sampling plan every cord has to pass.";
  } else if (decision->num_open > 0) {
    decision->why = OpenWords(decision->num_open);
  } else {
    decision->outcome = Outcome::kAccept;
    decision->why = "Every cord passes.";
  }
}

}  // namespace

const char* Word(Outcome outcome) {
  switch (outcome) {
    case Outcome::kAccept:
      return "accept";
    case Outcome::kReject:
      return "reject";
    case Outcome::kOpen:
      break;
  }
  return "open";
}

Decision Decide(const std::vector<Cord>& cords, const lot::Settings& settings) {
  Decision decision;
  int size = static_cast<int>(cords.size());
  std::string draw;
  if (settings.sampling) {
    const auto& sampling = *settings.sampling;
    const auto plan = statistics::SinglePlan(
        sampling.lot_size, sampling.level, sampling.aql_percent, sampling.severity);
    if (!plan.ok()) {  // a lot file with such a plan is refused before
      decision.why = plan.error().Text();
      return decision;
    }
    decision.plan = *plan;
    size = plan->sample_size;
    draw = sampling.draw;
  }
  CountSample(Drawn(cords, draw, size), &decision);
  if (decision.plan) {
    DecideByPlan(&decision);
  } else {
    DecideByAll(&decision);
  }
  return decision;
}

}  // namespace endgrade::summary
