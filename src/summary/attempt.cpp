#include "summary/faces.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <limits>

namespace endgrade::summary {
namespace {

using Json = nlohmann::json;

// Values of a record that is ours but may have been edited: what is missing or of another type is
// taken as nothing.
double Number(const Json& json, const char* key) {
  const auto entry = json.find(key);
  return entry != json.end() && entry->is_number() ? entry->get<double>() : 0.0;
}

// Of a count or a number: within what an int holds.
int Whole(const Json& json, const char* key) {
  constexpr double kMost = std::numeric_limits<int>::max();
  return static_cast<int>(std::clamp(Number(json, key), -kMost, kMost));
}

std::string Text(const Json& json, const char* key) {
  const auto entry = json.find(key);
  return entry != json.end() && entry->is_string() ? entry->get<std::string>() : "";
}

bool IsFalse(const Json& json, const char* key) {
  const auto entry = json.find(key);
  return entry != json.end() && entry->is_boolean() && !entry->get<bool>();
}

const Json& List(const Json& json, const char* key) {
  static const Json kNone = Json::array();
  const auto entry = json.find(key);
  return entry != json.end() && entry->is_array() ? *entry : kNone;
}

std::pair<double, double> Point(const Json& point) {
  const bool good =
      point.is_array() && point.size() == 2 && point[0].is_number() && point[1].is_number();
  return good ? std::pair(point[0].get<double>(), point[1].get<double>()) : std::pair(0.0, 0.0);
}

std::string KindWords(const std::string& kind) {
  if (kind == "scratch") return "scratches: ";
  return kind == "defect" ? "defects: " : "";
}

Mark MarkOf(const Json& feature, const Json& fibre) {
  Mark mark;
  mark.id = Whole(feature, "id");
  mark.scratch = Text(feature, "kind") == "scratch";
  mark.breaks = !List(feature, "breaks").empty();
  mark.zone = Text(feature, "zone");
  mark.size_um = Number(feature, "size_um");
  mark.diameter_um = Number(feature, "diameter_enclosing_um");
  if (feature.contains("centre_um")) std::tie(mark.x_um, mark.y_um) = Point(feature["centre_um"]);
  const auto centre = fibre.contains("centre_px") ? Point(fibre["centre_px"]) : std::pair(0.0, 0.0);
  const double um_per_px = Number(fibre, "um_per_px");
  for (const Json& point : List(feature, "outline_px")) {
    const auto [x, y] = Point(point);
    mark.outline_um.emplace_back((x - centre.first) * um_per_px, (y - centre.second) * um_per_px);
  }
  return mark;
}

}  // namespace

Attempt AttemptOf(const store::Row& row) {
  Attempt attempt;
  attempt.seq = row.seq;
  attempt.path = row.path;
  attempt.sha256 = row.sha256;
  attempt.limits_id = row.limits_id;
  attempt.taken_at = row.taken_at;
  attempt.number = row.face.attempt;
  attempt.verdict = row.verdict;
  attempt.marginal = row.marginal;
  const Json record = Json::parse(row.record, nullptr, false);
  if (!record.is_object()) return attempt;
  for (const Json& reason : List(record, "reasons"))
    attempt.reasons.push_back(Text(reason, "text"));
  for (const Json& fibre : List(record, "fibres")) {
    for (const Json& rule : List(fibre, "rules")) {
      if (!IsFalse(rule, "met")) continue;
      attempt.broken.push_back({Text(rule, "zone"),
                                KindWords(Text(rule, "kind")) + Text(rule, "text"),
                                Whole(rule, "found")});
    }
    for (const Json& feature : List(fibre, "features")) {
      attempt.marks.push_back(MarkOf(feature, fibre));
    }
  }
  return attempt;
}

}  // namespace endgrade::summary
