#include "endgrade/present.h"
#include "tests/support/sample_grades.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

TEST(VerdictText, SaysPassOnOneLine) {
  EXPECT_EQ(VerdictText(SampleFrame(), SampleLimits(), PassingGrade()),
            "photographs/port-07.jpg: PASS  sample");
}

TEST(VerdictText, GivesEachReasonAndWarningItsLine) {
  EXPECT_EQ(VerdictText(SampleFrame(), SampleLimits(), FailingGrade()),
            "photographs/port-07.jpg: FAIL (marginal)  sample\n"
            "  Zone B, cladding: 1 defect over 5 um (7.2 um), none allowed.\n"
            "  warning: It could be 0 within the uncertainty of its size.");
}

TEST(VerdictText, SaysWhyAPictureCannotBeGraded) {
  EXPECT_EQ(VerdictText(SampleFrame(), SampleLimits(), GradeWithoutFibre()),
            "photographs/port-07.jpg: CANNOT GRADE  sample\n"
            "  No fibre was found. Move it into view.");
}

TEST(VerdictText, LetsNoControlCharacterThrough) {
  Frame frame = SampleFrame();
  frame.path = "a\nb\x1b[2J\xff.jpg";
  Limits limits = SampleLimits();
  limits.id = "x\r";
  Grade grade = GradeWithoutFibre();
  grade.reasons[0].text = "one\ntwo\x1b";
  EXPECT_EQ(VerdictText(frame, limits, grade),
            "a\\x0ab\\x1b[2J\\xff.jpg: CANNOT GRADE  x\\x0d\n  one\\x0atwo\\x1b");
}

TEST(VerdictText, NamesAFrameFromMemory) {
  Frame frame = SampleFrame();
  frame.path.clear();
  EXPECT_EQ(VerdictText(frame, SampleLimits(), PassingGrade()),
            "(picture from memory): PASS  sample");
}

}  // namespace
}  // namespace endgrade
