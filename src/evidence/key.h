// Ed25519 (RFC 8032) by OpenSSL: a key of the user's own, and what it signed.
#pragma once

#include "endgrade/result.h"

#include <array>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

namespace endgrade::evidence {

[[nodiscard]] std::string HexOf(std::string_view bytes);  // lower case
// Nothing where it is not pairs of lower-case hexadecimal digits.
[[nodiscard]] std::optional<std::string> BytesOfHex(std::string_view hex);

struct PublicKey {
  static constexpr std::size_t kBytes = 32;
  std::string bytes;  // 32 of them, RFC 8032 section 5.1.5

  // SHA-256 of the 32 bytes, lower-case hexadecimal: what two people compare.
  [[nodiscard]] std::string Fingerprint() const;
  [[nodiscard]] bool operator==(const PublicKey&) const = default;
};

// Whether `signature` (64 bytes) is the key's owner's, of exactly this message.
[[nodiscard]] bool IsSignedBy(const PublicKey& key,
                              std::string_view message,
                              std::string_view signature);

// Asked for when a key is locked. Nothing: the user gave none.
using AskPassphrase = std::function<std::optional<std::string>()>;

class SigningKey {
 public:
  [[nodiscard]] static Result<SigningKey> New();
  // From the 32 secret bytes of RFC 8032. Errors: kBadOption.
  [[nodiscard]] static Result<SigningKey> OfSecret(std::string_view bytes);
  // PEM, PKCS#8, locked by a passphrase or not. Errors: of reading; kCorrupt for what is no such
  // key; kBadOption for a wrong passphrase or none.
  [[nodiscard]] static Result<SigningKey> Read(const std::filesystem::path& file,
                                               const AskPassphrase& ask);

  // PEM, PKCS#8; with a passphrase locked by scrypt (N 2^14, r 8, p 1) and AES-256-CBC. Only the
  // user may read the file (0600); one that is there already is never written over.
  [[nodiscard]] std::optional<Error> Write(const std::filesystem::path& file,
                                           const std::string& passphrase) const;

  [[nodiscard]] PublicKey Public() const;
  [[nodiscard]] std::string Sign(std::string_view message) const;  // 64 bytes

 private:
  explicit SigningKey(std::shared_ptr<void> key) : key_(std::move(key)) {}
  std::shared_ptr<void> key_;  // an EVP_PKEY
};

// PEM, SubjectPublicKeyInfo (RFC 8410).
[[nodiscard]] std::string PublicKeyPem(const PublicKey& key);
// A public key, or the public half of a private one that is not locked. Errors: of reading,
// kCorrupt.
[[nodiscard]] Result<PublicKey> ReadPublicKey(const std::filesystem::path& file);

}  // namespace endgrade::evidence
