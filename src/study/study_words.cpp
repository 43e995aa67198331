#include "present/escape.h"
#include "present/words.h"
#include "study/study.h"

#include <nlohmann/json.hpp>

namespace endgrade::study {
namespace {

using Json = nlohmann::ordered_json;

std::string Percent(double share) { return FixedWords(100 * share, 1) + " %"; }

std::string Range(const statistics::Interval& interval) {
  return FixedWords(interval.low, 3) + " to " + FixedWords(interval.high, 3);
}

std::string AgreementText(const StudyResult& study) {
  if (!study.agreement) return "Agreement of verdicts: " + study.why_no_agreement + "\n";
  const auto& a = *study.agreement;
  std::string text = "Agreement of verdicts, " + std::to_string(a.num_subjects) + " faces, " +
                     std::to_string(a.num_raters) + " photographs of each:\n" +
                     "  all the same       " + Percent(a.all_agree) + " of the faces\n" +
                     "  any two the same   " + Percent(a.pairs_agree) + " (by chance " +
                     Percent(a.expected) + ")\n";
  if (!a.kappa_known) return text + "  Fleiss' kappa      not known: every verdict is the same\n";
  return text + "  Fleiss' kappa      " + FixedWords(a.kappa, 3) +
         " (95 %: " + Range(a.kappa_interval) + ")\n";
}

std::string WithinText(const StudyResult& study) {
  std::string text = "Each with itself:\n";
  for (const RaterAgreement& own : study.within) {
    text += "  " + PrintableText(own.rater.empty() ? "(not named)" : own.rater) + ": " +
            std::to_string(own.num_same) + " of " + std::to_string(own.num_faces) +
            " faces always the same (95 %: " + Percent(own.interval.low) + " to " +
            Percent(own.interval.high) + ")\n";
  }
  return text;
}

std::string SizesText(const SizeStudy& sizes) {
  std::string text = sizes.scratch ? "Widths of scratches, " : "Sizes of defects, ";
  text += std::to_string(sizes.num_features) + " seen in every photograph of their face";
  if (!sizes.gauge) return text + ": " + sizes.why_not + ".\n";
  const auto& g = *sizes.gauge;
  const auto line = [&](const char* name, double sigma) {
    std::string words = "  " + std::string(name) + FixedWords(sigma, 3) + " um";
    if (sizes.tolerance_um > 0) {
      words += ", " + FixedWords(600 * sigma / sizes.tolerance_um, 1) + " % of the tolerance";
    }
    return words + "\n";
  };
  text += " (one standard deviation";
  if (sizes.tolerance_um > 0) {
    text += "; tolerance " + FixedWords(sizes.tolerance_um, 1) + " um against six of them";
  }
  return text + "):\n" + line("repeatability      ", g.repeatability) +
         line("reproducibility    ", g.reproducibility) + line("both together      ", g.gauge) +
         "  of the total variation " + FixedWords(g.PercentOfTotal(), 1) + " %\n";
}

Json SizesJson(const SizeStudy& sizes) {
  Json json = {{"kind", sizes.scratch ? "scratch" : "defect"},
               {"num_features", sizes.num_features},
               {"tolerance_um", sizes.tolerance_um > 0 ? Json(sizes.tolerance_um) : Json(nullptr)}};
  if (!sizes.gauge) {
    json["gauge"] = nullptr;
    json["why_not"] = sizes.why_not;
    return json;
  }
  const auto& g = *sizes.gauge;
  Json percent = nullptr;
  if (sizes.tolerance_um > 0) percent = g.PercentOfTolerance(sizes.tolerance_um);
  json["gauge"] = {{"repeatability_um", g.repeatability},
                   {"reproducibility_um", g.reproducibility},
                   {"gauge_um", g.gauge},
                   {"part_variation_um", g.part_variation},
                   {"total_variation_um", g.total_variation},
                   {"percent_of_total", g.PercentOfTotal()},
                   {"percent_of_tolerance", percent},
                   {"interaction_p", g.interaction_p},
                   {"interaction_pooled", g.pooled}};
  return json;
}

Json AgreementJson(const StudyResult& study) {
  if (!study.agreement) return nullptr;
  const auto& a = *study.agreement;
  Json kappa = nullptr;
  Json interval = nullptr;
  if (a.kappa_known) {
    kappa = a.kappa;
    interval = {a.kappa_interval.low, a.kappa_interval.high};
  }
  return {{"num_faces", a.num_subjects},
          {"num_photographs_a_face", a.num_raters},
          {"all_agree", a.all_agree},
          {"pairs_agree", a.pairs_agree},
          {"expected_by_chance", a.expected},
          {"fleiss_kappa", kappa},
          {"fleiss_kappa_interval_95", interval}};
}

}  // namespace

std::string StudyText(const StudyResult& study) {
  std::string text = AgreementText(study) + WithinText(study);
  for (const SizeStudy& sizes : study.sizes) text += SizesText(sizes);
  for (const std::string& note : study.notes) text += PrintableText(note) + "\n";
  return text;
}

std::string StudyJson(const StudyResult& study) {
  Json json = {{"schema", "endgrade.study/1"},
               {"raters", study.raters},
               {"trials", study.trials},
               {"agreement", AgreementJson(study)}};
  Json& within = json["within"] = Json::array();
  for (const RaterAgreement& own : study.within) {
    within.push_back({{"rater", own.rater},
                      {"num_faces", own.num_faces},
                      {"num_same", own.num_same},
                      {"interval_95", {own.interval.low, own.interval.high}}});
  }
  Json& sizes = json["sizes"] = Json::array();
  for (const SizeStudy& size : study.sizes) sizes.push_back(SizesJson(size));
  Json& faces = json["faces"] = Json::array();
  for (const FaceVerdicts& face : study.faces) {
    faces.push_back({{"face", face.face},
                     {"verdicts", face.verdicts},
                     {"num_features_matched", face.num_features}});
  }
  json["notes"] = study.notes;
  return json.dump(2, ' ', false, Json::error_handler_t::replace);
}

}  // namespace endgrade::study
