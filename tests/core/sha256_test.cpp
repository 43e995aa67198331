#include "core/sha256.h"

#include <gtest/gtest.h>

#include <string>

namespace endgrade {
namespace {

// NIST's example values for FIPS 180-4, "SHA256.pdf" of the Cryptographic Standards pages (from
// memory; sha256sum of coreutils 9.1 gives the same).
TEST(Sha256Hex, GivesThePublishedDigests) {
  EXPECT_EQ(Sha256Hex("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(Sha256Hex("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  EXPECT_EQ(Sha256Hex(std::string(1'000'000, 'a')),
            "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

TEST(Sha256Hex, OfNothingIsTheEmptyDigest) {
  EXPECT_EQ(Sha256Hex({}), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

TEST(Sha256Hex, CountsBytesPastAZero) {
  EXPECT_NE(Sha256Hex(std::string_view("a\0b", 3)), Sha256Hex(std::string_view("a\0c", 3)));
}

}  // namespace
}  // namespace endgrade
