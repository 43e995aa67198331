#include "job_page/face_history.h"

#include "compare_page/comparison_result.h"
#include "compare_page/comparison_words.h"
#include "job/kept.h"
#include "present/escape.h"
#include "present/words.h"

#include <exception>
#include <memory>

namespace endgrade::job_page {
namespace fs = std::filesystem;
namespace {

constexpr std::size_t kMostThings = 12;

// Photographs of one face, read and graded. `attempts` refers to the others, which never move.
struct Graded {
  std::vector<Frame> frames;
  std::vector<Grade> grades;
  std::vector<Workings> workings;
  std::vector<Attempt> attempts;
};

std::optional<GradeOptions> OptionsOf(const fs::path& job, const job::Shot& shot) {
  GradeOptions options;
  evidence::Apply(shot.settings, &options);
  if (shot.settings.camera_sha256.empty()) return options;
  auto camera = job::KeptCamera(job, shot.settings.camera_sha256);
  if (!camera.ok()) return std::nullopt;
  options.camera = std::make_shared<const CameraProfile>(std::move(*camera));
  return options;
}

// Why the face's photographs cannot be taken together; empty: they are in `graded`.
std::string GradeAll(const fs::path& job,
                     const job::FaceStatus& face,
                     const Limits& limits,
                     Graded* graded) {
  const std::size_t count = face.shots.size();
  graded->frames.reserve(count);
  graded->grades.reserve(count);
  graded->workings.reserve(count);
  for (const job::Shot& shot : face.shots) {
    if (shot.limits_sha256 != limits.sha256) return "they were graded with different limits";
    const auto options = OptionsOf(job, shot);
    if (!options) return "the camera's profile is not in the job";
    auto frame = ReadFrame(job / shot.attempt.path, options->read);
    if (!frame.ok()) return "a photograph cannot be read";
    Workings workings;
    auto grade = GradeFrame(*frame, limits, *options, &workings);
    if (!grade.ok()) return "a photograph cannot be graded again";
    if (RecordWord(grade->verdict) != shot.attempt.verdict) {
      return "this version of the program gives another verdict than the recorded one";
    }
    graded->frames.push_back(std::move(*frame));
    graded->grades.push_back(std::move(*grade));
    graded->workings.push_back(std::move(workings));
    graded->attempts.push_back(
        {graded->frames.back(), graded->grades.back(), graded->workings.back()});
  }
  return "";
}

void Describe(const std::vector<Attempt>& attempts,
              const Limits& limits,
              const Comparison& comparison,
              FaceHistory* history) {
  for (const PairComparison& pair : comparison.pairs) {
    const std::string& words = pair.registration.words;
    if (history->registration.find(words) != std::string::npos) continue;
    history->registration += (history->registration.empty() ? "" : " ") + PrintableText(words);
  }
  history->counts = PrintableText(compare_page::CountWords(comparison));
  for (const Track& track : comparison.tracks) {
    if (history->things.size() == kMostThings) {
      history->things.push_back("and " + std::to_string(comparison.tracks.size() - kMostThings) +
                                " more");
      break;
    }
    const bool fails = !compare_page::FeatureOf(attempts, track).breaks.empty();
    history->things.push_back(PrintableText(compare_page::ThingWords(attempts, limits, track)) +
                              (fails ? ", which broke a rule" : "") + ": " + FateWords(track.fate) +
                              (track.likely_permanent ? " (likely permanent)" : ""));
  }
}

FaceHistory Compare(const fs::path& job, const job::FaceStatus& face, const AdviceTable& table) {
  FaceHistory history;
  if (face.shots.empty()) return history;
  const job::Shot& last = face.shots.back();
  const auto limits = job::KeptLimits(job, last.limits_sha256, last.attempt.limits_id);
  if (!limits.ok()) {
    history.not_compared = "the limits are not in the job";
    return history;
  }
  Graded graded;
  history.not_compared = GradeAll(job, face, *limits, &graded);
  if (!history.not_compared.empty()) return history;
  std::optional<Comparison> comparison;
  if (graded.attempts.size() > 1) {
    auto compared = CompareAttempts(graded.attempts);
    if (compared.ok()) {
      comparison = std::move(*compared);
      Describe(graded.attempts, *limits, *comparison, &history);
    } else {
      history.not_compared = PrintableText(compared.error().what);
    }
  }
  history.advice =
      NextStep(table, SituationOf(graded.attempts, *limits, comparison ? &*comparison : nullptr));
  return history;
}

}  // namespace

FaceHistory HistoryOf(const fs::path& job, const job::FaceStatus& face, const AdviceTable& table) {
  try {
    return Compare(job, face, table);
  } catch (const std::exception& e) {  // what a library throws about one face costs only that face
    FaceHistory history;
    history.not_compared = PrintableText(e.what());
    return history;
  }
}

}  // namespace endgrade::job_page
