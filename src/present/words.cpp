#include "present/words.h"

#include <cmath>
#include <cstdio>

namespace endgrade {

const char* RecordWord(Verdict verdict) {
  switch (verdict) {
    case Verdict::kPass:
      return "pass";
    case Verdict::kFail:
      return "fail";
    case Verdict::kUngradable:
      break;
  }
  return "ungradable";
}

const char* RecordWord(FeatureKind kind) {
  return kind == FeatureKind::kScratch ? "scratch" : "defect";
}

const char* RecordWord(RuleKind kind) {
  switch (kind) {
    case RuleKind::kScratch:
      return "scratch";
    case RuleKind::kDefect:
      return "defect";
    case RuleKind::kAny:
      break;
  }
  return "any";
}

const char* RecordWord(ScaleSource source) {
  switch (source) {
    case ScaleSource::kCladding:
      return "cladding";
    case ScaleSource::kGiven:
      return "given";
    case ScaleSource::kProfile:
      break;
  }
  return "profile";
}

const char* VerdictWords(Verdict verdict) {
  switch (verdict) {
    case Verdict::kPass:
      return "PASS";
    case Verdict::kFail:
      return "FAIL";
    case Verdict::kUngradable:
      break;
  }
  return "CANNOT GRADE";
}

std::string FixedWords(double value, int decimals) {
  if (!std::isfinite(value)) return "?";
  char text[400];
  std::snprintf(text, sizeof text, "%.*f", decimals, value);
  return text;
}

}  // namespace endgrade
