#include "compare_page/comparison_json.h"

#include "endgrade/version.h"
#include "limits/describe.h"
#include "present/words.h"

#include <nlohmann/json.hpp>

#include <cmath>

namespace endgrade::compare_page {
namespace {

using Json = nlohmann::ordered_json;

constexpr int kUmDecimals = 3;
constexpr int kDegDecimals = 3;
constexpr int kShareDecimals = 4;
constexpr int kFactorDecimals = 8;  // of a matrix over thousands of pixels

Json Rounded(double value, int decimals) {
  if (!std::isfinite(value)) return nullptr;
  const double unit = std::pow(10.0, decimals);
  const double rounded = std::round(value * unit) / unit;
  return rounded == 0.0 ? 0.0 : rounded;  // no minus zero
}

Json HashJson(const std::string& sha256) { return sha256.empty() ? Json(nullptr) : Json(sha256); }

Json Matrix(const cv::Matx23d& m) {
  Json rows = Json::array();
  for (int row = 0; row < 2; ++row) {
    rows.push_back({Rounded(m(row, 0), kFactorDecimals),
                    Rounded(m(row, 1), kFactorDecimals),
                    Rounded(m(row, 2), kUmDecimals)});
  }
  return rows;
}

Json AdviceJson(const Advice& advice, const Situation& situation) {
  const bool fails = situation.verdict == Verdict::kFail;
  return {{"id", advice.id},
          {"action", RecordWord(advice.action)},
          {"say", advice.say},
          {"source", advice.source},
          {"certainty", CertaintyMark(advice.certainty)},
          {"num_cleanings", situation.num_cleanings},
          {"max_cleanings", situation.max_cleanings},
          {"left", fails ? Json(RecordWord(situation.left)) : Json(nullptr)}};
}

Json AttemptJson(const Compared& compared, std::size_t i) {
  const Attempt& attempt = compared.attempts[i];
  Json reasons = Json::array();
  for (const Reason& reason : attempt.grade.reasons) {
    reasons.push_back({{"code", reason.code}, {"text", reason.text}});
  }
  const bool has_fibre = !attempt.grade.fibres.empty();
  const auto& to_first = compared.comparison.to_first[i];
  return {{"path", attempt.frame.path.string()},
          {"sha256", HashJson(attempt.frame.sha256)},
          {"width_px", attempt.frame.luma.cols},
          {"height_px", attempt.frame.luma.rows},
          {"verdict", RecordWord(attempt.grade.verdict)},
          {"marginal", attempt.grade.marginal},
          {"reasons", std::move(reasons)},
          {"um_per_px",
           has_fibre ? Rounded(attempt.grade.fibres.front().scale.um_per_px, 6) : Json(nullptr)},
          {"num_features",
           has_fibre ? Json(attempt.grade.fibres.front().features.size()) : Json(nullptr)},
          {"first_um_from_um", to_first ? Matrix(*to_first) : Json(nullptr)},
          {"advice", AdviceJson(compared.advice[i], compared.situations[i])}};
}

// Takes pixels of the photograph before to those of the one after.
cv::Matx23d PixelsOnto(const Attempt& before, const Attempt& after, const Registration& r) {
  const Scale& from = before.grade.fibres.front().scale;
  const Scale& to = after.grade.fibres.front().scale;
  const auto image = [&](cv::Point2d px) { return to.ToPx(r.ToAfter(from.ToUm(px))); };
  const cv::Point2d zero = image({0, 0});
  const cv::Point2d x = image({1, 0}) - zero;
  const cv::Point2d y = image({0, 1}) - zero;
  return {x.x, y.x, zero.x, x.y, y.y, zero.y};
}

Json RegistrationJson(const Compared& compared, const PairComparison& pair) {
  const Registration& r = pair.registration;
  const bool known = r.has_fibre && r.rotation_known;
  const auto if_known = [&](double value, int decimals) {
    return known ? Rounded(value, decimals) : Json(nullptr);
  };
  Json json = {{"before", pair.before},
               {"after", pair.after},
               {"has_fibre", r.has_fibre},
               {"rotation_known", known},
               {"source", RecordWord(r.source)},
               {"mirrored", known && r.mirrored},
               {"rotation_deg", if_known(r.rotation_deg, kDegDecimals)},
               {"rotation_uncertainty_deg", if_known(r.rotation_uncertainty_deg, kDegDecimals)}};
  json["shift_um"] =
      known ? Json{Rounded(r.shift_um.x, kUmDecimals), Rounded(r.shift_um.y, kUmDecimals)}
            : Json(nullptr);
  json["shift_uncertainty_um"] =
      r.has_fibre ? Rounded(r.shift_uncertainty_um, kUmDecimals) : Json(nullptr);
  json["scale_ratio"] = r.has_fibre ? Rounded(r.scale_ratio, 6) : Json(nullptr);
  json["after_px_from_before_px"] =
      known ? Matrix(PixelsOnto(compared.attempts[pair.before], compared.attempts[pair.after], r))
            : Json(nullptr);
  json["evidence"] = {{"grain_sigma", Rounded(r.grain_sigma, 2)},
                      {"grain_second_sigma", Rounded(r.grain_second_sigma, 2)},
                      {"marks_log_odds", Rounded(r.marks_log_odds, 2)},
                      {"marks_second_log_odds", Rounded(r.marks_second_log_odds, 2)},
                      {"num_common_marks", r.num_common_marks},
                      {"margin", Rounded(r.margin, 2)}};
  json["same_face_doubtful"] = r.same_face_doubtful;
  json["words"] = r.words;
  return json;
}

Json LookJson(const std::optional<ForcedLook>& look) {
  if (!look) return nullptr;
  return {{"expected_contrast", Rounded(look->expected, kShareDecimals)},
          {"measured_contrast", Rounded(look->measured, kShareDecimals)},
          {"noise", Rounded(look->noise, kShareDecimals)}};
}

// Every feature of both pictures has one: where the record of either is looked up.
Json FateJson(const Compared& compared, const PairComparison& pair, const FeatureFate& fate) {
  const auto id = [&](std::size_t attempt, const std::optional<std::size_t>& index) {
    return index ? Json(compared.attempts[attempt].grade.fibres.front().features[*index].id)
                 : Json(nullptr);
  };
  return {{"fate", RecordWord(fate.fate)},
          {"before", id(pair.before, fate.before)},
          {"after", id(pair.after, fate.after)},
          {"by_radius", fate.by_radius},
          {"of_camera", fate.of_camera},
          {"moved_um", Rounded(fate.moved_um, kUmDecimals)},
          {"look", LookJson(fate.look)},
          {"words", fate.words}};
}

Json ThingJson(const Compared& compared, const Track& track) {
  const Feature& feature = FeatureOf(compared.attempts, track);
  const bool in_zone =
      feature.zone >= 0 && feature.zone < static_cast<int>(compared.limits.zones.size());
  Json steps = Json::array();
  for (std::size_t k = 0; k < track.steps.size(); ++k) {
    const TrackStep& step = track.steps[k];
    steps.push_back(
        {{"feature",
          step.feature ? Json(compared.attempts[k].grade.fibres.front().features[*step.feature].id)
                       : Json(nullptr)},
         {"fate", step.fate ? Json(RecordWord(*step.fate)) : Json(nullptr)},
         {"words", step.words}});
  }
  return {{"id", track.id},
          {"fate", RecordWord(track.fate)},
          {"likely_permanent", track.likely_permanent},
          {"cleanings_survived", track.num_survived},
          {"by_radius", track.by_radius},
          {"kind", RecordWord(feature.kind)},
          {"zone",
           in_zone ? Json(compared.limits.zones[static_cast<std::size_t>(feature.zone)].name)
                   : Json(nullptr)},
          {"size_um", Rounded(feature.size_um, kUmDecimals)},
          {"steps", std::move(steps)}};
}

}  // namespace

std::string ComparisonJson(const Compared& compared) {
  Json json;
  json["schema"] = "endgrade.comparison/1";
  json["program"] = {{"version", Version()}, {"build", Build()}};
  json["limits"] = {{"id", compared.limits.id},
                    {"title", compared.limits.title},
                    {"sha256", HashJson(compared.limits.sha256)}};
  json["verdict"] = RecordWord(compared.attempts.back().grade.verdict);
  Json& attempts = json["attempts"] = Json::array();
  for (std::size_t i = 0; i < compared.attempts.size(); ++i) {
    attempts.push_back(AttemptJson(compared, i));
  }
  const auto counts = CountFates(compared.comparison);
  Json& count = json["counts"] = Json::object();
  for (std::size_t i = 0; i < kFates.size(); ++i) count[RecordWord(kFates[i])] = counts[i];
  Json& pairs = json["pairs"] = Json::array();
  for (const PairComparison& pair : compared.comparison.pairs) {
    Json entry = RegistrationJson(compared, pair);
    Json& fates = entry["fates"] = Json::array();
    for (const FeatureFate& fate : pair.fates) fates.push_back(FateJson(compared, pair, fate));
    pairs.push_back(std::move(entry));
  }
  Json& things = json["things"] = Json::array();
  for (const Track& track : compared.comparison.tracks) {
    things.push_back(ThingJson(compared, track));
  }
  json["safety"] = compared.advice.back().safety;
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace endgrade::compare_page
