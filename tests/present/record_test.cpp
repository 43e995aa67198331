#include "endgrade/present.h"
#include "tests/support/sample_grades.h"
#include "tests/support/temporary_folder.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include <cmath>
#include <cstdlib>
#include <limits>

namespace endgrade {
namespace {

using Json = nlohmann::ordered_json;
using Keys = std::vector<std::string>;

Json Parsed(const std::string& record) { return Json::parse(record); }

Json FailingRecord() { return Parsed(RecordJson(SampleFrame(), SampleLimits(), FailingGrade())); }

// Those of `wanted` that are keys of `json`, in the order in which they stand there.
Keys KeysInOrder(const Json& json, const Keys& wanted) {
  Keys found;
  for (const auto& item : json.items()) {
    if (std::find(wanted.begin(), wanted.end(), item.key()) != wanted.end()) {
      found.push_back(item.key());
    }
  }
  return found;
}

void ExpectKeys(const Json& json, const Keys& wanted) {
  EXPECT_THAT(KeysInOrder(json, wanted), ::testing::ElementsAreArray(wanted));
}

// The contract of the record: its keys, in its order, in every object; more may stand between.
TEST(RecordJson, HasTheKeysOfTheContractInTheirOrder) {
  const Json record = FailingRecord();
  ExpectKeys(record,
             {"schema",
              "program",
              "image",
              "limits",
              "verdict",
              "marginal",
              "reasons",
              "fibres",
              "quality",
              "timing_ms"});
  ExpectKeys(record["program"], {"version", "build"});
  ExpectKeys(record["image"], {"path", "sha256", "width_px", "height_px"});
  ExpectKeys(record["limits"], {"id", "title", "sha256"});
  ExpectKeys(record["reasons"][0], {"code", "text"});
  const Json& fibre = record["fibres"][0];
  ExpectKeys(fibre,
             {"centre_px",
              "cladding_semi_axes_px",
              "cladding_angle_deg",
              "core_radius_px",
              "um_per_px",
              "um_per_px_uncertainty",
              "scale_source",
              "verdict",
              "zones",
              "features",
              "rules"});
  ExpectKeys(fibre["zones"][0],
             {"name",
              "inner_diameter_um",
              "outer_diameter_um",
              "in_view_fraction",
              "smallest_visible_um"});
  ExpectKeys(fibre["features"][0],
             {"id",
              "kind",
              "zone",
              "size_um",
              "size_uncertainty_um",
              "width_um",
              "length_um",
              "area_um2",
              "contrast",
              "snr",
              "centre_px",
              "centre_um",
              "outline_px",
              "breaks"});
  ExpectKeys(fibre["rules"][0],
             {"id", "zone", "kind", "text", "found", "allowed", "met", "marginal"});
  ExpectKeys(record["quality"], {"focus", "noise", "saturated_fraction", "view_um"});
  ExpectKeys(record["timing_ms"], {"read", "locate", "detect", "total"});
}

TEST(RecordJson, SaysWhatTheGradeSays) {
  const Json record = FailingRecord();
  EXPECT_EQ(record["schema"], "endgrade.result/1");
  EXPECT_EQ(record["image"]["path"], "photographs/port-07.jpg");
  EXPECT_EQ(record["image"]["width_px"], 1920);
  EXPECT_EQ(record["verdict"], "fail");
  EXPECT_EQ(record["marginal"], true);
  EXPECT_EQ(record["warnings"][0]["code"], "marginal");
  const Json& fibre = record["fibres"][0];
  EXPECT_EQ(fibre["scale_source"], "cladding");
  EXPECT_EQ(fibre["core_radius_px"], 18.0);
  EXPECT_EQ(fibre["zones"][1]["outer_diameter_um"], 115.0);
  EXPECT_EQ(fibre["features"][0]["zone"], "B");
  EXPECT_EQ(fibre["features"][0]["breaks"][0], "b-defects-over-5");
  EXPECT_EQ(fibre["features"][1]["kind"], "scratch");
  EXPECT_EQ(fibre["features"][1]["width_um"], 1.5);
  EXPECT_EQ(fibre["rules"][1]["met"], false);
  EXPECT_EQ(fibre["rules"][1]["found"], 1);
}

TEST(RecordJson, WritesNullForWhatWasNotMeasured) {
  Grade grade = UngradableGrade();
  grade.fibres[0].geometry.core.reset();
  Feature outside = RoundFeature(1, {140, 0}, 3, -1);
  grade.fibres[0].features = {outside};
  const Json record = Parsed(RecordJson(SampleFrame(), SampleLimits(), grade));
  const Json& fibre = record["fibres"][0];
  EXPECT_TRUE(fibre["core_radius_px"].is_null());
  EXPECT_TRUE(fibre["zones"][3]["smallest_visible_um"].is_null());
  EXPECT_TRUE(fibre["features"][0]["zone"].is_null());
  EXPECT_TRUE(fibre["features"][0]["width_um"].is_null());
  EXPECT_TRUE(fibre["rules"][2]["allowed"].is_null());
  const Json none = Parsed(RecordJson(SampleFrame(), SampleLimits(), GradeWithoutFibre()));
  EXPECT_TRUE(none["quality"]["focus"].is_null());
  EXPECT_TRUE(none["quality"]["view_um"].is_null());
  EXPECT_TRUE(none["fibres"].empty());
}

TEST(RecordJson, WritesNullForWhatIsNoNumber) {
  Grade grade = FailingGrade();
  Feature& feature = grade.fibres[0].features[0];
  feature.size_um = std::nan("");
  feature.snr = std::numeric_limits<double>::infinity();
  feature.centre_px = {std::nan(""), -std::numeric_limits<double>::infinity()};
  grade.fibres[0].scale.um_per_px_uncertainty = std::nan("");
  const Json fibre = Parsed(RecordJson(SampleFrame(), SampleLimits(), grade))["fibres"][0];
  EXPECT_TRUE(fibre["features"][0]["size_um"].is_null());
  EXPECT_TRUE(fibre["features"][0]["snr"].is_null());
  EXPECT_TRUE(fibre["features"][0]["centre_px"][0].is_null());
  EXPECT_TRUE(fibre["features"][0]["centre_px"][1].is_null());
  EXPECT_TRUE(fibre["um_per_px_uncertainty"].is_null());
}

TEST(RecordJson, RoundsToFixedDecimals) {
  Grade grade = FailingGrade();
  Feature& feature = grade.fibres[0].features[0];
  feature.size_um = 7.23456789;
  feature.centre_px = {100.126, -0.001};
  grade.fibres[0].scale.um_per_px = 0.123456789;
  const std::string record = RecordJson(SampleFrame(), SampleLimits(), grade);
  EXPECT_THAT(record, ::testing::HasSubstr("\"size_um\":7.235,"));
  EXPECT_THAT(record, ::testing::HasSubstr("\"centre_px\":[100.13,0.0]"));
  EXPECT_THAT(record, ::testing::HasSubstr("\"um_per_px\":0.123457,"));
}

TEST(RecordJson, GivesTheSameBytesButForTheTimes) {
  Grade again = FailingGrade();
  again.times.total_ms = 99;
  again.times.detect_ms = 3;
  std::string first = RecordJson(SampleFrame(), SampleLimits(), FailingGrade());
  std::string second = RecordJson(SampleFrame(), SampleLimits(), again);
  EXPECT_NE(first, second);
  first.resize(first.find("\"timing_ms\""));
  second.resize(second.find("\"timing_ms\""));
  EXPECT_EQ(first, second);
}

TEST(RecordJson, StandsOnOneLineWhateverTheNameHolds) {
  Frame frame = SampleFrame();
  frame.path = "new\nline\x1b[2J \xff\xfe \xC3\xA9.jpg";
  const std::string record = RecordJson(frame, SampleLimits(), PassingGrade());
  for (const char c : record) EXPECT_GE(static_cast<unsigned char>(c), 0x20);
  // The bytes that are not UTF-8 became U+FFFD, the replacement character.
  EXPECT_EQ(Parsed(record)["image"]["path"],
            "new\nline\x1b[2J \xEF\xBF\xBD\xEF\xBF\xBD \xC3\xA9.jpg");
}

TEST(UnreadableRecordJson, IsUngradableAndSaysWhy) {
  const Error error{ErrorKind::kCorrupt, "a.png", 0, "the file is cut short", "Copy it again"};
  const Json record = Parsed(UnreadableRecordJson("a.png", SampleLimits(), error));
  EXPECT_EQ(record["verdict"], "ungradable");
  EXPECT_EQ(record["reasons"][0]["code"], "unreadable");
  EXPECT_EQ(record["reasons"][0]["text"], "a.png: the file is cut short. Copy it again.");
  EXPECT_TRUE(record["image"]["sha256"].is_null());
  EXPECT_TRUE(record["fibres"].empty());
  EXPECT_TRUE(record["timing_ms"]["total"].is_null());
}

// ---- against the JSON Schema, by Debian's python3-jsonschema

const std::string kTests = std::string(ENDGRADE_SOURCE_DIR) + "/tests/";

bool SchemaAccepts(const TemporaryFolder& folder, const std::string& lines) {
  const auto file = folder.Write("records.ndjson", lines);
  const std::string command = "/usr/bin/python3 -B '" + kTests + "present/validate_records.py' '" +
                              kTests + "cli/endgrade.result-1.schema.json' '" + file.string() + "'";
  return std::system(command.c_str()) == 0;  // NOLINT(concurrency-mt-unsafe)
}

TEST(RecordSchema, AcceptsARecordOfEveryVerdict) {
  const TemporaryFolder folder;
  Grade odd = FailingGrade();
  odd.fibres[0].features[0].size_um = std::nan("");
  odd.fibres[0].scale.source = ScaleSource::kGiven;
  std::string lines;
  for (const Grade& grade :
       {PassingGrade(), FailingGrade(), UngradableGrade(), GradeWithoutFibre(), odd}) {
    lines += RecordJson(SampleFrame(), SampleLimits(), grade) + "\n";
  }
  const Error error{ErrorKind::kCorrupt, "a.png", 0, "the file is cut short", "Copy it again"};
  lines += UnreadableRecordJson("a.png", SampleLimits(), error) + "\n";
  EXPECT_TRUE(SchemaAccepts(folder, lines));
}

TEST(RecordSchema, RefusesRecordsThatBreakTheContract) {
  const TemporaryFolder folder;
  const Json good = FailingRecord();
  ASSERT_TRUE(SchemaAccepts(folder, good.dump()));
  std::vector<Json> bad(9, good);
  bad[0]["schema"] = "endgrade.result/2";
  bad[1]["verdict"] = "maybe";
  bad[2]["image"].erase("sha256");
  bad[3]["fibres"][0].erase("um_per_px");
  bad[4]["fibres"][0]["features"][0]["size_um"] = "7.2";
  bad[5]["fibres"][0]["zones"][0]["in_view_fraction"] = 1.5;
  bad[6]["fibres"][0]["rules"][0].erase("met");
  bad[7]["verdict"] = "pass";  // with a broken rule
  bad[8]["reasons"] = Json::array();
  for (std::size_t i = 0; i < bad.size(); ++i) {
    EXPECT_FALSE(SchemaAccepts(folder, bad[i].dump())) << "case " << i;
  }
}

}  // namespace
}  // namespace endgrade
