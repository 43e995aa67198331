#include "endgrade/present.h"
#include "present/escape.h"
#include "present/words.h"

namespace endgrade {

std::string VerdictText(const Frame& frame, const Limits& limits, const Grade& grade) {
  const std::string name = frame.path.empty() ? "(picture from memory)" : frame.path.string();
  std::string text = PrintableText(name) + ": " + VerdictWords(grade.verdict);
  if (grade.marginal) text += " (marginal)";
  text += "  " + PrintableText(limits.id);
  for (const Reason& reason : grade.reasons) text += "\n  " + PrintableText(reason.text);
  for (const Reason& warning : grade.warnings) {
    text += "\n  warning: " + PrintableText(warning.text);
  }
  return text;
}

}  // namespace endgrade
