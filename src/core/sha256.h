// SHA-256 (FIPS 180-4), by OpenSSL: what a record names a picture and a limits file by.
#pragma once

#include <string>
#include <string_view>

namespace endgrade {

// Throws std::bad_alloc where OpenSSL 3.0 found no memory to set itself up: its calls would then
// read what is not there. Before the first call of it.
void RequireOpenSsl();

// The digest of `bytes` as 64 lower-case hexadecimal digits. Throws std::runtime_error where the
// machine's OpenSSL offers no SHA-256.
[[nodiscard]] std::string Sha256Hex(std::string_view bytes);

}  // namespace endgrade
