#include "report/lot_report.h"

#include "endgrade/version.h"
#include "evidence/carried.h"
#include "lot/thumbnail.h"
#include "page_parts.h"
#include "present/escape.h"
#include "present/words.h"
#include "report/charts.h"
#include "report/cord_cards.h"
#include "report/html.h"
#include "report/lot_evidence.h"

#include <algorithm>
#include <kainjow/mustache.hpp>
#include <set>

namespace endgrade::report {
namespace {

using kainjow::mustache::data;
using summary::Outcome;

constexpr const char* kSafety =
    "Check for optical power before looking at or touching an end face, and never look into a "
    "fibre with the naked eye or an unfiltered optical scope. Isopropanol is flammable; fibre "
    "shards injure. Grading by image does not replace insertion-loss and return-loss measurement.";

std::string RateWords(int count, int trials, const statistics::Interval& interval) {
  if (trials == 0) return "none";
  return Percent(static_cast<double>(count) / trials) + " (" + FixedWords(100 * interval.low, 1) +
         " to " + FixedWords(100 * interval.high, 1) + ")";
}

std::string Decimal(double value) {
  std::string text = FixedWords(value, 3);
  text.erase(text.find_last_not_of('0') + 1);
  if (!text.empty() && text.back() == '.') text.pop_back();
  return text;
}

std::string OutcomeWords(Outcome outcome) {
  switch (outcome) {
    case Outcome::kAccept:
      return "Accept the lot";
    case Outcome::kReject:
      return "Reject the lot";
    case Outcome::kOpen:
      break;
  }
  return "Not decided yet";
}

void AddDecision(const summary::Decision& decision, data* page) {
  page->set("outcome", summary::Word(decision.outcome));
  page->set("outcome_class", summary::Word(decision.outcome));
  page->set("outcome_words", OutcomeWords(decision.outcome));
  page->set("why", PrintableText(decision.why));
  page->set("sign",
            decision.outcome == Outcome::kAccept   ? "\u2713"
            : decision.outcome == Outcome::kReject ? "\u2715"
                                                   : "?");
  if (!decision.plan) return;
  const auto& plan = *decision.plan;
  data table;
  table.set("severity", plan.severity == statistics::Severity::kNormal ? "normal" : "tightened");
  table.set("lot_size", std::to_string(plan.lot_size));
  table.set("level", plan.level);
  const bool moved = plan.code_letter != plan.plan_letter;
  table.set("letter", plan.code_letter + (moved ? " (plan of " + plan.plan_letter + ")" : ""));
  table.set("aql", Decimal(plan.aql_percent));
  table.set("sample_size", std::to_string(plan.sample_size));
  table.set("whole", plan.whole_lot ? ", the whole lot" : "");
  table.set("accept", std::to_string(plan.accept_up_to));
  table.set("reject", std::to_string(plan.reject_from));
  table.set("inspected", std::to_string(decision.num_inspected));
  table.set("failing", std::to_string(decision.num_failing));
  table.set("open", std::to_string(decision.num_open));
  page->set("plan", table);
}

void AddYields(const std::vector<summary::Yield>& yields, data* page) {
  data rows{data::type::list};
  for (const summary::Yield& yield : yields) {
    data row;
    row.set("of", PrintableText(yield.of));
    row.set("trials", std::to_string(yield.trials));
    row.set("first", RateWords(yield.first, yield.trials, yield.first_interval));
    row.set("last", RateWords(yield.last, yield.trials, yield.last_interval));
    row.set("bar", YieldBar(yield));
    rows.push_back(row);
  }
  page->set("yields", rows);
}

void AddCauses(const std::vector<summary::Cause>& causes, data* page) {
  if (causes.empty()) return;
  data rows{data::type::list};
  const int most = causes.front().first;
  for (const summary::Cause& cause : causes) {
    data row;
    row.set("zone", PrintableText(cause.zone));
    row.set("rule", PrintableText(cause.rule));
    row.set("first", std::to_string(cause.first));
    row.set("last", std::to_string(cause.last));
    row.set("cumulative", Percent(cause.cumulative));
    row.set("bar", CountBar(cause.first, most));
    rows.push_back(row);
  }
  page->set("has_causes", data::type::bool_true);
  page->set("causes", rows);
}

std::string MapWords(const summary::DensityMap& map) {
  constexpr double kSure = 0.01;
  if (map.total == 0) return "No feature was found on any first photograph.";
  std::string text = std::to_string(map.total) + " features of all first photographs. ";
  const auto& test = map.direction;
  if (test.p_value < kSure) {
    return text + "They gather at " + FixedWords(test.mean_deg, 0) +
           " degrees (clockwise from the right; mean resultant " +
           FixedWords(test.resultant_length, 2) + ", Rayleigh p " + FixedWords(test.p_value, 4) +
           "): look at the polishing film, the holder and the camera, if all faces lay alike.";
  }
  return text + "They gather on no side (Rayleigh p " + FixedWords(test.p_value, 2) + ").";
}

std::vector<double> Rings(const lot::Settings& settings) {
  std::set<double> rings;
  for (const auto& [kind, limits] : settings.limits) {
    for (const Zone& zone : limits.zones) rings.insert(zone.outer_diameter_um);
  }
  return {rings.begin(), rings.end()};
}

void AddTrend(const statistics::ControlChart& chart, data* page) {
  page->set("trend", TrendChart(chart));
  if (chart.points.empty()) {
    page->set("trend_words", "Nothing has been graded.");
    return;
  }
  const auto outside = std::count_if(
      chart.points.begin(), chart.points.end(), [](const auto& point) { return point.outside; });
  std::string words =
      "Share of faces that do not pass their first photograph, by day (p-chart, "
      "limits at three standard deviations); mean " +
      Percent(chart.mean) + "; " + std::to_string(outside) + " of " +
      std::to_string(chart.points.size()) + " days outside.";
  if (chart.few) words += " Fewer than 20 days: the limits themselves are unsure.";
  page->set("trend_words", words);
  data days{data::type::list};
  for (const auto& point : chart.points) {
    data day;
    day.set("day", PrintableText(point.name));
    day.set("trials", std::to_string(point.trials));
    day.set("share", Percent(point.share));
    day.set("limits", Percent(point.low) + " to " + Percent(point.high));
    day.set("outside", point.outside ? "yes" : "no");
    days.push_back(day);
  }
  page->set("has_trend", data::type::bool_true);
  page->set("days", days);
}

void AddLeftOut(const summary::Cords& cords,
                const std::vector<lot::LeftOut>& left_out,
                data* page) {
  data items{data::type::list};
  std::size_t count = 0;
  const auto add = [&](const std::string& path, const std::string& why) {
    data item;
    item.set("path", PrintableText(path));
    item.set("why", PrintableText(why));
    items.push_back(item);
    ++count;
  };
  for (const auto& item : left_out) add(item.path, item.why);
  for (const std::string& note : cords.notes) add("in the store", note);
  for (const auto& cord : cords.cords) {
    for (const auto& face : cord.faces) {
      for (const auto& attempt : face.attempts) {
        if (attempt.verdict != "unreadable") continue;
        add(attempt.path, attempt.reasons.empty() ? "could not be read" : attempt.reasons.front());
      }
    }
  }
  if (count == 0) return;
  page->set("has_left_out", data::type::bool_true);
  page->set("num_left_out", std::to_string(count));
  page->set("left_out", items);
}

std::string Facts(const summary::Cords& cords) {
  std::string from;
  std::string until;
  std::size_t faces = 0;
  std::size_t photographs = 0;
  for (const auto& cord : cords.cords) {
    faces += cord.faces.size();
    for (const auto& face : cord.faces) {
      photographs += face.attempts.size();
      for (const auto& attempt : face.attempts) {
        if (from.empty() || attempt.taken_at < from) from = attempt.taken_at;
        until = std::max(until, attempt.taken_at);
      }
    }
  }
  std::string text = std::to_string(cords.cords.size()) + " cords, " + std::to_string(faces) +
                     " faces, " + std::to_string(photographs) + " photographs";
  if (!from.empty()) text += ", taken from " + from + " to " + until;
  return PrintableText(text);
}

// {"sm-upc": [25, 115, 135, 250], ...}. IDs are lower-case letters, digits and hyphens.
std::string ZonesJson(const lot::Settings& settings) {
  std::set<std::string> entries;
  for (const auto& [kind, limits] : settings.limits) {
    std::string entry = "\"" + limits.id + "\":[";
    for (const Zone& zone : limits.zones) {
      entry += (entry.back() == '[' ? "" : ",") + FixedWords(zone.outer_diameter_um, 1);
    }
    entries.insert(entry + "]");
  }
  std::string json = "{";
  for (const std::string& entry : entries) json += (json.size() > 1 ? "," : "") + entry;
  return json + "}";
}

data LimitsList(const lot::Settings& settings) {
  std::set<std::string> ids;
  for (const auto& [kind, limits] : settings.limits) ids.insert(limits.id);
  data list{data::type::list};
  for (const std::string& id : ids) list.push_back({"id", PrintableText(id)});
  return list;
}

}  // namespace

Result<std::string> LotReport(const store::Store& store,
                              const lot::Settings& settings,
                              const summary::Cords& cords,
                              const summary::LotSummary& summary,
                              const std::vector<lot::LeftOut>& left_out,
                              const ReportOptions& options) {
  const auto cards = CordCards(store, cords, summary.decision, options);
  if (!cards.ok()) return cards.error();
  data page;
  page.set("name", PrintableText(settings.name));
  page.set("facts", Facts(cords));
  AddDecision(summary.decision, &page);
  AddYields(summary.yields, &page);
  AddCauses(summary.causes, &page);
  page.set("map", MapChart(summary.map, Rings(settings)));
  page.set("map_words", MapWords(summary.map));
  AddTrend(summary.trend, &page);
  AddLeftOut(cords, left_out, &page);
  page.set("limits", LimitsList(settings));
  page.set("num_cords", std::to_string(cords.cords.size()));
  page.set("cords", *cards);
  page.set("safety", kSafety);
  page.set("program", PrintableText("endgrade " + Version() + " (" + Build() + ")"));
  page.set("head", store.Head());
  page.set("num_rows", std::to_string(store.Count()));
  page.set("thumb_um", FixedWords(lot::kThumbnailWidth_um, 0));
  page.set("zones", ScriptJson(ZonesJson(settings)));
  const auto carried = LotEvidence(store, settings, cords, options.max_record_bytes);
  if (!carried.ok()) return carried.error();
  page.set("evidence", evidence::HtmlBlock(*carried));
  page.set("style", kStyle);
  page.set("script", kScript);
  return evidence::Seal(kainjow::mustache::mustache(kPageTemplate).render(page));
}

}  // namespace endgrade::report
