#include "evidence/evidence.h"

#include "evidence/carried.h"
#include "evidence/key.h"
#include "present/encode.h"
#include "tests/cli/temporary_folder.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <sys/stat.h>

namespace endgrade::evidence {
namespace {

using cli::TemporaryFolder;
using ::testing::HasSubstr;

std::string Bytes(const std::string& hex) { return BytesOfHex(hex).value(); }

// RFC 8032, section 7.1, tests 1 to 3: secret, public key, message, signature.
constexpr const char* kVectors[][4] = {
    {"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
     "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
     "",
     "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9"
     "b46bd25bf5f0595bbe24655141438e7a100b"},
    {"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
     "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
     "72",
     "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f1"
     "1d8c387b2eaeb4302aeeb00d291612bb0c00"},
    {"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
     "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
     "af82",
     "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984d"
     "c6594a7c15e9716ed28dc027beceea1ec40a"}};

TEST(SigningKey, SignsAsRfc8032Section71) {
  for (const auto& [secret, half, message, signature] : kVectors) {
    const auto key = SigningKey::OfSecret(Bytes(secret));
    ASSERT_TRUE(key.ok());
    EXPECT_EQ(HexOf(key->Public().bytes), half);
    EXPECT_EQ(HexOf(key->Sign(Bytes(message))), signature);
    EXPECT_TRUE(IsSignedBy(key->Public(), Bytes(message), Bytes(signature)));
  }
}

TEST(SigningKey, NoOtherBitIsTakenForTheSignature) {
  const auto key = SigningKey::OfSecret(Bytes(kVectors[2][0]));
  ASSERT_TRUE(key.ok());
  const std::string message = Bytes(kVectors[2][2]);
  std::string signature = Bytes(kVectors[2][3]);
  for (std::size_t bit = 0; bit < 8 * signature.size(); ++bit) {
    signature[bit / 8] = static_cast<char>(signature[bit / 8] ^ (1 << bit % 8));
    EXPECT_FALSE(IsSignedBy(key->Public(), message, signature)) << bit;
    signature[bit / 8] = static_cast<char>(signature[bit / 8] ^ (1 << bit % 8));
  }
  const auto other = SigningKey::OfSecret(Bytes(kVectors[1][0]));
  EXPECT_FALSE(IsSignedBy(other->Public(), message, signature));
  EXPECT_FALSE(IsSignedBy(key->Public(), message + "x", signature));
}

TEST(SigningKey, IsReadBackAndOnlyTheUserMayReadIt) {
  const TemporaryFolder folder;
  const auto key = SigningKey::New();
  ASSERT_TRUE(key.ok());
  for (const std::string passphrase : {"", "four words and more"}) {
    const auto file = folder.path() / (passphrase.empty() ? "open.pem" : "locked.pem");
    ASSERT_FALSE(key->Write(file, passphrase));
    struct stat status {};
    ASSERT_EQ(stat(file.c_str(), &status), 0);
    EXPECT_EQ(status.st_mode & 0777, 0600u);
    const auto again = SigningKey::Read(file, [&] { return std::optional(passphrase); });
    ASSERT_TRUE(again.ok()) << again.error().Text();
    EXPECT_EQ(again->Public(), key->Public());
    EXPECT_TRUE(key->Write(file, passphrase)) << "a key is never written over";
  }
  const auto wrong = SigningKey::Read(folder.path() / "locked.pem",
                                      [] { return std::optional<std::string>("no"); });
  ASSERT_FALSE(wrong.ok());
  EXPECT_THAT(wrong.error().Text(), HasSubstr("passphrase"));
}

Evidence Sample(std::size_t filler) {
  Evidence evidence;
  evidence.record = R"({"schema":"endgrade.result/1","note":")" + std::string(filler, 'x') +
                    R"(","angle":0.1,"name":"a\"<b>"})";
  evidence.settings.um_per_px = 0.1 + 0.2;
  evidence.settings.decision = "guarded";
  evidence.limits = {{"house.toml", "id = \"house\"\n"}, {"sm-upc.toml", "\xC2\xB5"}};
  return evidence;
}

TEST(EvidenceJson, IsReadBackByteForByte) {
  const Evidence evidence = Sample(10);
  const auto again = ParseCarried(EvidenceJson(evidence));
  ASSERT_TRUE(again.ok()) << again.error().Text();
  EXPECT_EQ(again->evidence.front().record, evidence.record);
  EXPECT_EQ(again->evidence.front().settings, evidence.settings);
  ASSERT_EQ(again->evidence.front().limits.size(), 2u);
  EXPECT_EQ(again->evidence.front().limits[1].text, "\xC2\xB5");
}

// A report of many photographs: settings and limits once for all, some records by their hash only.
TEST(EvidenceListJson, GivesEveryPieceWhatTheListSaysForAll) {
  const Evidence sample = Sample(1);
  EvidenceList list;
  list.settings = sample.settings;
  const std::string sha256 = "the limits' hash";
  list.limits[sha256] = sample.limits;
  const std::string record = R"({"limits":{"sha256":")" + sha256 + R"("}})";
  list.evidence = {BareEvidenceJson(record), EvidenceJson(sample)};
  list.brief = {BriefEvidenceJson({"a.jpg", "1", sha256, "endgrade", "fail", "2"})};
  list.comparison = R"({"pairs":[]})";
  list.drawn = "difference";
  const auto again = ParseCarried(EvidenceListJson(list));
  ASSERT_TRUE(again.ok()) << again.error().Text();
  ASSERT_EQ(again->evidence.size(), 2u);
  EXPECT_EQ(again->evidence[0].record, record);
  EXPECT_EQ(again->evidence[0].settings, sample.settings);
  EXPECT_EQ(again->evidence[0].limits.size(), sample.limits.size());
  EXPECT_EQ(again->evidence[1].record, sample.record);
  ASSERT_EQ(again->brief.size(), 1u);
  EXPECT_EQ(again->brief[0].verdict, "fail");
  EXPECT_EQ(again->comparison, list.comparison);
  EXPECT_EQ(again->drawn, list.drawn);
  list.limits.clear();  // nothing says now what the first was graded with
  EXPECT_EQ(ParseCarried(EvidenceListJson(list)).error().kind, ErrorKind::kCorrupt);
}

TEST(EvidenceJson, OfANewerSchemaSaysSo) {
  std::string json = EvidenceJson(Sample(1));
  json.replace(json.find("evidence/1"), 10, "evidence/2");
  const auto parsed = ParseCarried(json);
  ASSERT_FALSE(parsed.ok());
  EXPECT_EQ(parsed.error().kind, ErrorKind::kUnsupported);
}

cv::Mat Picture() { return {40, 60, CV_8UC3, cv::Scalar(10, 120, 200)}; }

TEST(CarriedText, ComesBackFromPngAndJpegWhateverItsLength) {
  // A comment of a JPEG holds 65,533 bytes (ITU-T T.81, B.2.4.5): the longer ones take several.
  for (const std::size_t filler : {1u, 65'300u, 65'405u, 65'600u, 400'000u}) {
    const std::string text = EvidenceJson(Sample(filler));
    const auto png = EncodePng(Picture(), text);
    const auto jpeg = EncodeJpeg(Picture(), kOverlayQuality, text);
    ASSERT_TRUE(png.ok() && jpeg.ok());
    for (const std::string& bytes : {*png, *jpeg}) {
      const auto carried = CarriedText(bytes, "overlay");
      ASSERT_TRUE(carried.ok()) << carried.error().Text();
      EXPECT_EQ(*carried, text);
    }
  }
}

TEST(CarriedText, OfAPictureWithoutARecordSaysSo) {
  for (const auto& bytes : {*EncodePng(Picture()), *EncodeJpeg(Picture())}) {
    const auto carried = CarriedText(bytes, "plain");
    ASSERT_FALSE(carried.ok());
    EXPECT_EQ(carried.error().kind, ErrorKind::kNotFound);
  }
  EXPECT_EQ(CarriedText("text", "note").error().kind, ErrorKind::kUnsupported);
}

// Where the record lies, no flipped bit passes for the record.
TEST(CarriedText, NoFlippedBitPassesForTheRecord) {
  const std::string text = EvidenceJson(Sample(200));
  for (std::string bytes : {*EncodePng(Picture(), text), *EncodeJpeg(Picture(), 90, text)}) {
    for (std::size_t i = 0; i < bytes.size(); ++i) {
      const int bit = static_cast<int>(i % 8);
      bytes[i] = static_cast<char>(bytes[i] ^ (1 << bit));
      const auto carried = CarriedText(bytes, "flipped");
      EXPECT_TRUE(!carried.ok() || *carried == text) << "byte " << i;
      bytes[i] = static_cast<char>(bytes[i] ^ (1 << bit));
    }
  }
}

TEST(Seal, EveryFlippedBitOfAPageShows) {
  const std::string text = EvidenceJson(Sample(5));
  const std::string page =
      Seal("<!DOCTYPE html>\n<p>two \xC2\xB5m</p>\n" + HtmlBlock(text) + "\n</html>\n");
  const auto whole = CarriedText(page, "page");
  ASSERT_TRUE(whole.ok()) << whole.error().Text();
  EXPECT_THAT(page, HasSubstr("\\u003cb>")) << "nothing inside may end the element";
  EXPECT_EQ(ParseCarried(*whole)->evidence.front().record, Sample(5).record);
  std::string flipped = page;
  for (std::size_t bit = 0; bit < 8 * page.size(); ++bit) {
    flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ (1 << bit % 8));
    EXPECT_FALSE(CarriedText(flipped, "page").ok()) << "bit " << bit;
    flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ (1 << bit % 8));
  }
}

}  // namespace
}  // namespace endgrade::evidence
