#include "core/sha256.h"

#include <openssl/crypto.h>
#include <openssl/evp.h>

#include <array>
#include <new>
#include <stdexcept>

namespace endgrade {

void RequireOpenSsl() {
  if (OSSL_LIB_CTX_get0_global_default() == nullptr) throw std::bad_alloc();
}

std::string Sha256Hex(std::string_view bytes) {
  RequireOpenSsl();
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned int length = 0;
  if (EVP_Digest(bytes.data(), bytes.size(), digest.data(), &length, EVP_sha256(), nullptr) != 1) {
    throw std::runtime_error("OpenSSL offers no SHA-256");
  }
  static constexpr std::string_view kDigits = "0123456789abcdef";
  std::string hex;
  hex.reserve(2 * length);
  for (unsigned int i = 0; i < length; ++i) {
    hex += kDigits[digest[i] >> 4];
    hex += kDigits[digest[i] & 15];
  }
  return hex;
}

}  // namespace endgrade
