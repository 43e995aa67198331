#include "lot/grade_photograph.h"

#include "endgrade/present.h"
#include "endgrade/read.h"
#include "lot/taken_at.h"
#include "lot/thumbnail.h"
#include "tests/cli/temporary_folder.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace endgrade::lot {
namespace {

using cli::TemporaryFolder;
using ::testing::HasSubstr;

TEST(IsOfShard, PutsEveryPictureIntoExactlyOnePart) {
  for (const char* digest : {"00000000ff", "00000001ff", "deadbeef00", "ffffffff00"}) {
    int parts = 0;
    for (int index = 1; index <= 3; ++index) parts += IsOfShard(digest, {index, 3}) ? 1 : 0;
    EXPECT_EQ(parts, 1) << digest;
  }
  EXPECT_TRUE(IsOfShard("00000004", {2, 3})) << "4 mod 3 is 1, the second part";
}

// A JPEG with nothing but an EXIF segment, laid out by hand after EXIF 2.3 and TIFF 6.0.
std::string WithExifDate(const std::string& date) {
  std::string tiff("II*\0\x08\0\0\0", 8);
  tiff += std::string("\x01\0\x69\x87\x04\0\x01\0\0\0\x1a\0\0\0\0\0\0\0", 18);  // to the EXIF IFD
  tiff += std::string("\x01\0\x03\x90\x02\0\x14\0\0\0\x2c\0\0\0\0\0\0\0", 18);  // 0x9003, ASCII
  tiff += date + std::string(1, '\0');
  const std::string app1 = std::string("Exif\0\0", 6) + tiff;
  const auto size = static_cast<char>(app1.size() + 2);
  return std::string("\xFF\xD8\xFF\xE1\0", 5) + size + app1 + "\xFF\xD9";
}

TEST(WhenTaken, AsksTheCameraThenTheFile) {
  const TakenAt exif = WhenTaken(WithExifDate("2026:11:25 10:11:12"), 0);
  EXPECT_EQ(exif.text, "2026-11-25T10:11:12");
  EXPECT_EQ(exif.from, "exif");
  // 2^30 seconds after the start of 1970: `date -u -d @1073741824` says 2004-01-10 13:37:04.
  const TakenAt file = WhenTaken("\x89PNG", 1'073'741'824ll * 1'000'000'000);
  EXPECT_EQ(file.text, "2004-01-10T13:37:04");
  EXPECT_EQ(file.from, "file");
}

TEST(WhenTaken, TakesNoDateThatMakesNoSense) {
  for (const char* date : {"2026:13:25 10:11:12",
                           "    :  :     :  :  ",
                           "2026:11:25 25:00:00",
                           "<script>alert(1)</s"}) {
    EXPECT_EQ(WhenTaken(WithExifDate(date), 0).from, "file") << date;
  }
}

TEST(MakeThumbnail, ShowsTheWholePictureWhereThereIsNoFibre) {
  const cv::Mat luma(300, 600, CV_8UC1, cv::Scalar(200));
  const Thumbnail thumbnail = MakeThumbnail(luma, 255, Grade{});
  EXPECT_EQ(thumbnail.width_um, 0);
  const auto frame = DecodeFrame(thumbnail.jpeg, "thumbnail");
  ASSERT_TRUE(frame.ok());
  EXPECT_EQ(frame->luma.size(), cv::Size(kThumbnailSide_px, kThumbnailSide_px));
  EXPECT_NEAR(frame->luma.at<uchar>(kThumbnailSide_px / 2, kThumbnailSide_px / 2), 200, 3);
  EXPECT_NEAR(frame->luma.at<uchar>(5, kThumbnailSide_px / 2), 0, 3) << "black beside it";
}

TEST(MakeThumbnail, CentresTheFaceAtItsScale) {
  cv::Mat luma(500, 500, CV_16UC1, cv::Scalar(0));
  luma(cv::Rect(300, 200, 10, 10)).setTo(1023);
  Grade grade;
  grade.fibres.emplace_back();
  grade.fibres[0].scale.centre_px = {304.5, 204.5};
  grade.fibres[0].scale.um_per_px = 1.0;
  const Thumbnail thumbnail = MakeThumbnail(luma, 1023, grade);
  EXPECT_EQ(thumbnail.width_um, kThumbnailWidth_um);
  const auto frame = DecodeFrame(thumbnail.jpeg, "thumbnail");
  ASSERT_TRUE(frame.ok());
  EXPECT_GT(frame->luma.at<uchar>(kThumbnailSide_px / 2, kThumbnailSide_px / 2), 240);
  EXPECT_LT(frame->luma.at<uchar>(40, 40), 15);
}

TEST(Shrink, MakesASmallerPicture) {
  const Thumbnail whole = MakeThumbnail(cv::Mat(90, 90, CV_8UC1, cv::Scalar(128)), 255, Grade{});
  const auto frame = DecodeFrame(Shrink(whole.jpeg, 64), "thumbnail");
  ASSERT_TRUE(frame.ok());
  EXPECT_EQ(frame->luma.size(), cv::Size(64, 64));
  EXPECT_EQ(Shrink("no picture", 64), "");
}

Photograph In(const TemporaryFolder& folder, const std::string& name, const Limits& limits) {
  Photograph photograph;
  photograph.file = folder.path() / name;
  photograph.path = name;
  photograph.face.cord = "c1";
  photograph.limits = &limits;
  return photograph;
}

TEST(GradePhotograph, GivesARowAlsoForWhatCannotBeRead) {
  const TemporaryFolder folder;
  folder.Write("broken.jpg", "\xFF\xD8 and then nothing");
  const auto limits = FindLimits("sm-upc");
  const auto broken = GradePhotograph({}, In(folder, "broken.jpg", *limits));
  ASSERT_TRUE(broken);
  EXPECT_EQ(broken->verdict, "unreadable");
  EXPECT_EQ(broken->sha256.size(), 64u) << "its bytes are known all the same";
  EXPECT_THAT(broken->record, HasSubstr("broken.jpg"));
  const auto gone = GradePhotograph({}, In(folder, "gone.jpg", *limits));
  ASSERT_TRUE(gone);
  EXPECT_EQ(gone->verdict, "unreadable");
  EXPECT_EQ(gone->sha256, "");
}

TEST(GradePhotograph, GivesTheSameRowEveryTime) {
  const TemporaryFolder folder;
  ASSERT_FALSE(WritePicture(folder.path() / "even.png", cv::Mat(200, 200, CV_8UC1, 90)));
  const auto limits = FindLimits("sm-upc");
  const auto one = GradePhotograph({}, In(folder, "even.png", *limits));
  const auto two = GradePhotograph({}, In(folder, "even.png", *limits));
  ASSERT_TRUE(one && two);
  EXPECT_EQ(one->verdict, "ungradable");
  EXPECT_EQ(one->record, two->record) << "no times in it";
  EXPECT_EQ(one->thumbnail, two->thumbnail);
  EXPECT_THAT(one->record, HasSubstr("\"path\":\"even.png\"")) << "not where the lot lies";
}

}  // namespace
}  // namespace endgrade::lot
