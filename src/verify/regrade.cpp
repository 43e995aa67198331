#include "verify/regrade.h"

#include "present/escape.h"
#include "present/words.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>

namespace endgrade::verify {
namespace {

using Json = nlohmann::ordered_json;

std::string Text(const Json& json, const char* key) {
  const auto entry = json.find(key);
  return entry != json.end() && entry->is_string() ? entry->get<std::string>() : "";
}

const Json& Part(const Json& json, const char* key) {
  static const Json kNone;
  const auto entry = json.find(key);
  return entry != json.end() ? *entry : kNone;
}

std::string Program(const Json& record) {
  const Json& program = Part(record, "program");
  return Text(program, "version") + " (" + Text(program, "build") + ")";
}

std::vector<Json> FeaturesOf(const Json& record) {
  std::vector<Json> features;
  for (const Json& fibre : Part(record, "fibres")) {
    for (const Json& feature : Part(fibre, "features")) features.push_back(feature);
  }
  return features;
}

std::string FeatureWords(const Json& feature) {
  const Json& size = Part(feature, "size_um");
  return Text(feature, "kind") + " of " +
         (size.is_number() ? FixedWords(size.get<double>(), 1) : "?") + " um in zone " +
         Text(feature, "zone");
}

// Features without their numbers, which change when one is added before them.
Json WithoutId(Json feature) {
  feature.erase("id");
  return feature;
}

void CompareFeatures(const Json& recorded, const Json& now, std::vector<std::string>* differences) {
  constexpr std::size_t kMostNamed = 4;
  std::vector<Json> before = FeaturesOf(recorded);
  std::vector<Json> after = FeaturesOf(now);
  const std::size_t num_before = before.size();
  const std::size_t num_after = after.size();
  for (auto it = before.begin(); it != before.end();) {
    const auto twin = std::find_if(after.begin(), after.end(), [&](const Json& other) {
      return WithoutId(other) == WithoutId(*it);
    });
    if (twin == after.end()) {
      ++it;
    } else {
      after.erase(twin);
      it = before.erase(it);
    }
  }
  if (before.empty() && after.empty()) return;
  std::string words =
      "features: " + std::to_string(num_before) + " recorded, now " + std::to_string(num_after);
  const auto name = [&](const std::vector<Json>& features, const char* which) {
    for (std::size_t i = 0; i < features.size() && i < kMostNamed; ++i) {
      words += (i == 0 ? std::string("; ") + which + ": " : ", ") + FeatureWords(features[i]);
    }
    if (features.size() > kMostNamed) {
      words += " and " + std::to_string(features.size() - kMostNamed) + " more";
    }
  };
  name(before, "only recorded");
  name(after, "only now");
  differences->push_back(words);
}

void ComparePart(const Json& recorded,
                 const Json& now,
                 const char* key,
                 const char* words,
                 std::vector<std::string>* differences) {
  if (Part(recorded, key) != Part(now, key)) differences->push_back(words);
}

}  // namespace

Result<Comparison> CompareRecords(const std::string& recorded, const std::string& now) {
  Json before = Json::parse(recorded, nullptr, false);
  Json after = Json::parse(now, nullptr, false);
  if (!before.is_object() || !after.is_object() ||
      Text(before, "schema") != Text(after, "schema")) {
    return Error{ErrorKind::kCorrupt,
                 "",
                 0,
                 "is no record that this program can compare",
                 "Use the endgrade that wrote it"};
  }
  for (Json* record : {&before, &after}) {
    (*record)["timing_ms"] = nullptr;
    if ((*record)["image"].is_object()) (*record)["image"]["path"] = nullptr;
  }
  Comparison comparison;
  comparison.same_bytes = before.dump() == after.dump();
  comparison.same_program = Part(before, "program") == Part(after, "program");
  comparison.same_verdict = Text(before, "verdict") == Text(after, "verdict");
  auto& differences = comparison.differences;
  if (!comparison.same_program) {
    differences.push_back("program: recorded by " + PrintableText(Program(before)) + ", this is " +
                          Program(after));
  }
  if (!comparison.same_verdict) {
    differences.push_back("verdict: " + PrintableText(Text(before, "verdict")) + ", now " +
                          Text(after, "verdict"));
  }
  if (Part(Part(before, "image"), "sha256") != Part(Part(after, "image"), "sha256")) {
    differences.push_back("another picture: its hash is not the recorded one");
  }
  if (Part(Part(before, "limits"), "sha256") != Part(Part(after, "limits"), "sha256")) {
    differences.push_back("other limits: " + PrintableText(Text(Part(before, "limits"), "id")) +
                          " with another hash");
  }
  ComparePart(before, after, "marginal", "whether the verdict is marginal", &differences);
  CompareFeatures(before, after, &differences);
  if (comparison.same_verdict) {
    ComparePart(before, after, "reasons", "the reasons", &differences);
    ComparePart(before, after, "warnings", "the warnings", &differences);
  }
  const bool is_told = differences.size() > (comparison.same_program ? 0u : 1u);
  before["program"] = after["program"] = nullptr;
  comparison.same_but_program = before.dump() == after.dump();
  if (!comparison.same_but_program && !is_told) {
    differences.push_back("figures of fibre, zones, rules or quality");
  }
  return comparison;
}

}  // namespace endgrade::verify
