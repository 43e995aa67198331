#include "verify/recompare.h"

#include "compare_page/comparison_json.h"
#include "compare_page/page.h"
#include "compare_page/pictures.h"
#include "endgrade/advice.h"
#include "endgrade/compare.h"
#include "present/encode.h"

#include <nlohmann/json.hpp>

namespace endgrade::verify {
namespace {

using Json = nlohmann::ordered_json;

// What grading and comparing say; advice is worded by a file that a user may change.
bool SameFates(const Json& recorded, const Json& now) {
  for (const char* key : {"verdict", "counts", "pairs", "things"}) {
    if (!recorded.contains(key) || recorded[key] != now[key]) return false;
  }
  return true;
}

Result<std::string> DrawnAgain(const ComparedFile& file, const compare_page::Compared& compared) {
  if (file.carried.drawn.empty()) {
    return compare_page::ComparisonPage(compared, file.carried_text);
  }
  if (file.carried.drawn == "side-by-side") {
    return EncodePng(compare_page::DrawSideBySide(compared), file.carried_text);
  }
  const auto difference = compare_page::DrawDifference(compared);
  return difference ? EncodePng(*difference, file.carried_text) : std::string();
}

}  // namespace

void CompareAgain(const ComparedFile& file,
                  const std::vector<Frame>& frames,
                  const Limits& limits,
                  const GradeOptions& grading,
                  Report* report) {
  const auto result = CompareFrames(frames, limits, grading);
  const auto table = FindAdvice();
  if (!result.ok() || !table.ok()) {
    report->differences.push_back("the comparison cannot be worked out again: " +
                                  (result.ok() ? table.error().what : result.error().what));
    return;
  }
  std::vector<Attempt> attempts;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    attempts.push_back({frames[i], result->grades[i], result->workings[i]});
  }
  const auto compared = compare_page::Conclude(attempts, limits, result->comparison, *table);
  const Json recorded = Json::parse(file.carried.comparison, nullptr, false);
  const Json now = Json::parse(compare_page::ComparisonJson(compared), nullptr, false);
  const bool same_program =
      recorded.is_object() && recorded.value("program", Json()) == now["program"];
  if (!recorded.is_object() || !SameFates(recorded, now)) {
    auto& list = same_program ? report->problems : report->differences;
    list.push_back(
        "what became of each thing, or how the photographs lie on each other, is not what this "
        "program makes of them");
    return;
  }
  report->notes.push_back("what became of each thing is the same, compared again");
  if (recorded != now) {
    report->notes.push_back(
        same_program ? "the advice is of another file than the one that is shipped"
                     : "advice and drawing are of another version, and were not made again");
    return;
  }
  const auto drawn = DrawnAgain(file, compared);
  const char* what = file.carried.drawn.empty() ? "the page" : "the picture";
  if (drawn.ok() && *drawn == file.bytes) {
    report->notes.push_back(std::string(what) +
                            " is, byte for byte, what this program makes of them");
  } else {
    report->problems.push_back(std::string(what) +
                               " is not what this program makes of them: it was changed, or saved "
                               "anew");
  }
}

}  // namespace endgrade::verify
