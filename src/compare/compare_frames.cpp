#include "endgrade/compare.h"

namespace endgrade {

Result<ComparedFrames> CompareFrames(const std::vector<Frame>& frames,
                                     const Limits& limits,
                                     const GradeOptions& grading,
                                     const CompareOptions& options) {
  ComparedFrames compared;
  compared.workings.resize(frames.size());
  for (std::size_t i = 0; i < frames.size(); ++i) {
    auto grade = GradeFrame(frames[i], limits, grading, &compared.workings[i]);
    if (!grade.ok()) return grade.error();
    compared.grades.push_back(*std::move(grade));
  }
  std::vector<Attempt> attempts;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    attempts.push_back({frames[i], compared.grades[i], compared.workings[i]});
  }
  auto comparison = CompareAttempts(attempts, options);
  if (!comparison.ok()) return comparison.error();
  compared.comparison = *std::move(comparison);
  return compared;
}

}  // namespace endgrade
