#include "present/strip_words.h"

#include "tests/support/sample_grades.h"

#include <gtest/gtest.h>

namespace endgrade {
namespace {

TEST(Typeset, ReplacesUnitsAndSignsAndNothingElse) {
  EXPECT_EQ(Typeset("from 2 to 5 um, >= 45 dB, 3 +/- 1, <= 3 um."),
            "from 2 to 5 \u00b5m, \u2265 45 dB, 3 \u00b1 1, \u2264 3 \u00b5m.");
  EXPECT_EQ(Typeset("maximum number, um_per_px, umber, 5um"),
            "maximum number, um_per_px, umber, 5um");
  EXPECT_EQ(Typeset("um"), "\u00b5m");
  EXPECT_EQ(Typeset("a\nb"), "a\\x0ab");
}

TEST(StripParagraphs, OfAPassSayWhatWouldHaveBeenSeen) {
  const auto paragraphs = StripParagraphs(SampleLimits(), PassingGrade());
  ASSERT_EQ(paragraphs.size(), 1U);
  EXPECT_EQ(paragraphs[0].text,
            "Every rule holds. Nothing was found in the zones. Smallest defect that this picture "
            "would have shown: zone A 1.1 \u00b5m, zone B 1.1 \u00b5m.");
}

TEST(StripParagraphs, GiveReasonsBeforeWarnings) {
  const auto paragraphs = StripParagraphs(SampleLimits(), FailingGrade());
  ASSERT_EQ(paragraphs.size(), 2U);
  EXPECT_EQ(paragraphs[0].text,
            "Zone B, cladding: 1 defect over 5 \u00b5m (7.2 \u00b5m), none allowed.");
  EXPECT_FALSE(paragraphs[0].is_warning);
  EXPECT_EQ(paragraphs[1].text, "Note: It could be 0 within the uncertainty of its size.");
  EXPECT_TRUE(paragraphs[1].is_warning);
  EXPECT_EQ(StripParagraphs(SampleLimits(), GradeWithoutFibre()).size(), 1U);
}

TEST(FactLines, SayWhereTheScaleComesFrom) {
  Grade grade = PassingGrade();
  EXPECT_EQ(FactLines(grade)[0], "Core 9.0 \u00b5m, cladding taken as 125.0 \u00b5m");
  EXPECT_EQ(FactLines(grade)[1], "1 px = 0.250 \u00b1 0.002 \u00b5m, from the cladding");
  grade.fibres[0].scale.source = ScaleSource::kGiven;
  grade.fibres[0].scale.cladding_diameter_um = 124.64;
  grade.fibres[0].geometry.core.reset();
  EXPECT_EQ(FactLines(grade)[0], "Core not seen, cladding measures 124.6 \u00b5m");
  EXPECT_EQ(FactLines(grade)[1], "1 px = 0.250 \u00b1 0.002 \u00b5m, as given");
  EXPECT_TRUE(FactLines(GradeWithoutFibre()).empty());
}

TEST(FeatureWords, GiveKindSizeUncertaintyAndZone) {
  const Grade grade = FailingGrade();
  EXPECT_EQ(FeatureWords(grade.fibres[0].features[0], SampleLimits()),
            "defect 7.2 \u00b1 0.4 \u00b5m, zone B");
  EXPECT_EQ(FeatureWords(RoundFeature(1, {140, 0}, 3, -1), SampleLimits()),
            "defect 3.0 \u00b1 0.4 \u00b5m");
}

TEST(PictureName, IsTheFilesOwnMadeSafe) {
  Frame frame = SampleFrame();
  EXPECT_EQ(PictureName(frame), "port-07.jpg");
  frame.path = "a/b\x1b\xff.png";
  EXPECT_EQ(PictureName(frame), "b\\x1b\\xff.png");
  frame.path.clear();
  EXPECT_EQ(PictureName(frame), "picture from memory");
}

}  // namespace
}  // namespace endgrade
