#include "report/html.h"
#include "report/lot_report.h"
#include "tests/cli/temporary_folder.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

namespace endgrade::report {
namespace {

using cli::TemporaryFolder;
using ::testing::HasSubstr;
using ::testing::Not;

constexpr const char* kHostile = "<script>alert('x')</script>\"&{{name}}\x1b[31m";

// RFC 4648, section 10: test vectors.
TEST(Base64, GivesTheRfcsVectors) {
  const std::pair<const char*, const char*> vectors[] = {{"", ""},
                                                         {"f", "Zg=="},
                                                         {"fo", "Zm8="},
                                                         {"foo", "Zm9v"},
                                                         {"foob", "Zm9vYg=="},
                                                         {"fooba", "Zm9vYmE="},
                                                         {"foobar", "Zm9vYmFy"}};
  for (const auto& [bytes, text] : vectors) EXPECT_EQ(Base64(bytes), text);
  EXPECT_EQ(Base64("\xFF\xFE\xFD"), "//79");
}

TEST(HtmlText, EscapesWhatHtmlWouldTakeForItsOwn) {
  EXPECT_EQ(HtmlText("<a href=\"x\">'&"), "&lt;a href=&quot;x&quot;&gt;&#39;&amp;");
  EXPECT_EQ(HtmlText("\x1b\x80"), "\\x1b\\x80");
}

TEST(ScriptJson, CannotEndItsElement) {
  EXPECT_THAT(ScriptJson("{\"a\":\"</script>\"}"), Not(HasSubstr("</script>")));
}

class Reported {
 public:
  Reported() : store_(*store::Store::OpenToAppend(folder_.path() / "lot.sqlite")) {
    settings_.limits.emplace("", *FindLimits("sm-upc"));
    settings_.name = kHostile;
  }

  void Add(const std::string& cord, const std::string& verdict, const std::string& reason) {
    store::Row row;
    row.path = cord + ".jpg";
    row.face.cord = cord;
    row.face.end = "A";
    row.face.port = kHostile;
    row.sha256 = "of " + cord;
    row.taken_at = "2026-11-25T10:00:00";
    row.limits_id = "sm-upc";
    row.grade_key = settings_.GradeKey(*settings_.LimitsOf(""));
    row.verdict = verdict;
    row.record = R"({"reasons":[{"code":"x","text":")" + reason + R"("}]})";
    row.thumbnail = std::string(3000, 'x');
    ASSERT_FALSE(store_.Append(row));
  }

  std::string Html(const ReportOptions& options = {}) {
    const auto cords = summary::GatherCords(store_, settings_);
    return *LotReport(store_,
                      settings_,
                      *cords,
                      summary::Summarise(*cords, settings_),
                      {{"odd.jpg", kHostile}},
                      options);
  }
  std::string Csv() { return FacesCsv(*summary::GatherCords(store_, settings_)); }

 private:
  TemporaryFolder folder_;
  store::Store store_;
  lot::Settings settings_;
};

TEST(LotReport, LetsNothingFromOutsideBecomeMarkup) {
  Reported lot;
  lot.Add(kHostile, "fail", "<img src=x onerror=alert(1)>");
  const std::string html = lot.Html();
  EXPECT_THAT(html, Not(HasSubstr("<script>alert")));
  EXPECT_THAT(html, Not(HasSubstr("<img src=x")));
  EXPECT_THAT(html, Not(HasSubstr("\x1b")));
  EXPECT_THAT(html, HasSubstr("&lt;script&gt;alert"));
  EXPECT_THAT(html, HasSubstr("{{name}}")) << "a template of a stranger is text";
}

TEST(LotReport, NeedsNothingFromElsewhere) {
  Reported lot;
  lot.Add("c1", "pass", "");
  const std::string html = lot.Html();
  for (const char* outside : {"http:", "https:", "src=\"/", "@import", "url("}) {
    std::string rest = html;
    const std::string svg = "http://www.w3.org/2000/svg";  // a name, not an address
    if (const auto at = rest.find(svg); at != std::string::npos) rest.erase(at, svg.size());
    EXPECT_THAT(rest, Not(HasSubstr(outside)));
  }
}

TEST(LotReport, IsTheSameEveryTime) {
  Reported lot;
  lot.Add("c1", "pass", "");
  EXPECT_EQ(lot.Html(), lot.Html());
}

TEST(LotReport, SaysDecisionReasonsAndWhatWasLeftOut) {
  Reported lot;
  lot.Add("c1", "fail", "Zone B: one too many.");
  lot.Add("c2", "unreadable", "c2.jpg: damaged.");
  const std::string html = lot.Html();
  for (const char* text : {"Reject the lot",
                           "Zone B: one too many.",
                           "Left out (2)",
                           "odd.jpg",
                           "c2.jpg: damaged.",
                           "naked eye"}) {
    EXPECT_THAT(html, HasSubstr(text));
  }
}

TEST(LotReport, DoesWithoutPicturesOfWhatPassesWhenThereIsNoRoom) {
  Reported lot;
  lot.Add("c1", "pass", "");
  EXPECT_THAT(lot.Html(), HasSubstr("data:image/jpeg"));
  EXPECT_THAT(lot.Html({100}), Not(HasSubstr("data:image/jpeg")));
}

TEST(FacesCsv, HasARowAFace) {
  Reported lot;
  lot.Add("=cmd()", "fail", "a, b");
  const std::string csv = lot.Csv();
  EXPECT_EQ(std::count(csv.begin(), csv.end(), '\n'), 2);
  EXPECT_THAT(csv, HasSubstr("\"'=cmd()\""));
  EXPECT_THAT(csv, HasSubstr("\"a, b\""));
}

}  // namespace
}  // namespace endgrade::report
