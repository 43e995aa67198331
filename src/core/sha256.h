// SHA-256 (FIPS 180-4), by OpenSSL: what a record names a picture and a limits file by.
#pragma once

#include <string>
#include <string_view>

namespace endgrade {

// The digest of `bytes` as 64 lower-case hexadecimal digits. Throws std::runtime_error where the
// machine's OpenSSL offers no SHA-256.
[[nodiscard]] std::string Sha256Hex(std::string_view bytes);

}  // namespace endgrade
