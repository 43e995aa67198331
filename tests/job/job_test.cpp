#include "job/address.h"
#include "job/log.h"
#include "job/manifest.h"
#include "job/plan.h"
#include "job/sign.h"
#include "tests/cli/temporary_folder.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <set>

namespace endgrade::job {
namespace {

using cli::TemporaryFolder;
using ::testing::HasSubstr;

TEST(FolderName, DifferentNamesGiveDifferentFolders) {
  const std::set<std::string> names = {"",
                                       "_",
                                       " ",
                                       "a b",
                                       "a_b",
                                       "a%20b",
                                       "a.b",
                                       ".a",
                                       "..",
                                       ".",
                                       "-",
                                       "a/b",
                                       "\xC3\xA9",
                                       "a ",
                                       "A"};
  std::set<std::string> folders;
  for (const std::string& name : names) {
    const std::string folder = FolderName(name);
    EXPECT_TRUE(folders.insert(folder).second) << name;
    EXPECT_THAT(folder, ::testing::MatchesRegex("[A-Za-z0-9._%-]+"));
    EXPECT_NE(folder.front(), '.') << name;
  }
}

TEST(Address, IsMeantByItsNameWithAsManyLevelsAsNeeded) {
  const Address address{"Pier", "C2", "P1", "07"};
  for (const char* text : {"07", "P1/07", "P1-07", "C2/P1/07", "Pier / C2 / P1 / 07"}) {
    EXPECT_TRUE(address.IsMeantBy(text)) << text;
  }
  for (const char* text : {"7", "p1/07", "C2/07", "", "P2/07"}) {
    EXPECT_FALSE(address.IsMeantBy(text)) << text;
  }
}

TEST(Address, RefusesNamesThatSomeDiskCannotTake) {
  for (const char* name : {"con", "AUX.txt", "com1", "a/b"}) EXPECT_TRUE(NameProblem(name)) << name;
  for (const char* name : {"console", "com10", "01", "Port 7"}) EXPECT_FALSE(NameProblem(name));
}

Manifest Sample() {
  Manifest manifest;
  manifest.files["photographs/a.jpg"] = {12, std::string(64, 'a')};
  manifest.files["job.toml"] = {3, std::string(64, '0')};
  manifest.num_photographs = 1;
  manifest.head = std::string(64, 'b');
  manifest.num_entries = 2;
  manifest.log_head = std::string(64, 'c');
  return manifest;
}

TEST(Manifest, NoFlippedBitSaysTheSame) {
  const std::string text = Sample().Json();
  const auto whole = Manifest::Parse(text);
  ASSERT_TRUE(whole.ok());
  EXPECT_EQ(whole->Json(), text);
  std::string flipped = text;
  for (std::size_t bit = 0; bit < 8 * text.size(); ++bit) {
    flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ (1 << bit % 8));
    const auto parsed = Manifest::Parse(flipped);
    if (parsed.ok()) {
      const bool same = parsed->files == whole->files && parsed->head == whole->head &&
                        parsed->log_head == whole->log_head &&
                        parsed->num_photographs == whole->num_photographs &&
                        parsed->num_entries == whole->num_entries;
      EXPECT_FALSE(same) << "bit " << bit;
    }
    flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ (1 << bit % 8));
  }
}

TEST(Signature, HasOneFormOnlyAndHoldsOnlySigned) {
  const auto key = evidence::SigningKey::New();
  ASSERT_TRUE(key.ok());
  Signature signature;
  signature.statement = {"A job", 3, std::string(64, 'a'), 4, std::string(64, 'b'), "2026"};
  signature.key = key->Public();
  const std::string unsigned_text = SignatureJson(signature);
  EXPECT_FALSE(Holds(signature));
  EXPECT_TRUE(ParseSignature(unsigned_text, "s").ok());
  std::string flipped = unsigned_text;
  for (std::size_t bit = 0; bit < 8 * flipped.size(); ++bit) {
    flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ (1 << bit % 8));
    const auto parsed = ParseSignature(flipped, "s");
    EXPECT_TRUE(!parsed.ok() || SignatureJson(*parsed) != unsigned_text) << "bit " << bit;
    flipped[bit / 8] = static_cast<char>(flipped[bit / 8] ^ (1 << bit % 8));
  }
}

constexpr const char* kHead =
    "schema = \"endgrade.job/1\"\nname = \"n\"\nwho = \"w\"\ncamera = \"c\"\n";

std::vector<Error> Mistakes(const std::string& rest) {
  const TemporaryFolder folder;
  std::ofstream(folder.path() / kJobFile) << kHead << rest;
  return ReadPlan(folder.path()).errors;
}

TEST(ReadPlan, NamesEveryMistakeWithItsLine) {
  const std::string limits = "[limits]\ndefault = \"sm-upc\"\n";
  const struct {
    const char* text;
    int line;
    const char* what;
  } kCases[] = {{"[[panel]]\nports = [\"12..01\"]\n", 8, "no range"},
                {"[[panel]]\nports = [\"01\", \"01\"]\n", 8, "twice"},
                {"[[panel]]\nports = [\"a\", \"A\"]\n", 8, "capitals"},
                {"[[panel]]\nports = [\"nul\"]\n", 8, "Windows"},
                {"[[panel]]\nports = [\"1\"]\nsides = [\"A\", \"a\"]\n", 9, "two different"},
                {"[[panel]]\nports = [\"1\"]\nfibres = 0\n", 9, "fibres"},
                {"[[panel]]\nports = [\"1\"]\ncolour = 1\n", 9, "unknown key"}};
  for (const auto& [text, line, what] : kCases) {
    const auto errors = Mistakes(limits + text);
    ASSERT_FALSE(errors.empty()) << text;
    EXPECT_THAT(errors.front().what, HasSubstr(what));
    EXPECT_EQ(errors.front().line, line) << text;
  }
  EXPECT_THAT(
      Mistakes("[limits]\ndefault = \"../x.toml\"\n[[panel]]\nports = [\"1\"]\n").front().what,
      HasSubstr("leads out"));
  EXPECT_THAT(Mistakes("[limits]\napc = \"sm-apc\"\n[[panel]]\nports = [\"1\"]\n").front().what,
              HasSubstr("no limits for kind"));
}

TEST(ReadPlan, AFileOfManyLongRangesIsRefusedAtOnce) {
  std::string text = "[limits]\ndefault = \"sm-upc\"\n[[panel]]\nports = [";
  for (int i = 0; i < 20'000; ++i) text += "\"1..50000\",";
  const auto errors = Mistakes(text + "]\n");
  EXPECT_LE(errors.size(), 50'001u);  // of the second range, and that there are too many
  EXPECT_THAT(errors.back().what, HasSubstr("more than 100000"));
}

TEST(ReadPlan, ReadsWhatNewWrites) {
  const TemporaryFolder folder;
  std::ofstream(folder.path() / kJobFile) << FirstJobFile("A \"job\"",
                                                          "T 7",
                                                          "scope \\ 1",
                                                          "sm-upc",
                                                          {"Pier", "", "P1", ""},
                                                          {"08..10", "x"},
                                                          {"A", "B"});
  const auto check = ReadPlan(folder.path());
  ASSERT_TRUE(check.plan) << check.errors.front().Text();
  EXPECT_EQ(check.plan->name, "A \"job\"");
  EXPECT_EQ(check.plan->camera, "scope \\ 1");
  std::vector<std::string> ports;
  for (const Port& port : check.plan->ports) ports.push_back(port.address.port);
  EXPECT_THAT(ports, ::testing::ElementsAre("08", "09", "10", "x"));
  EXPECT_TRUE(check.plan->Meant("P1/09").ok());
  EXPECT_FALSE(check.plan->Meant("11").ok());
}

}  // namespace
}  // namespace endgrade::job
