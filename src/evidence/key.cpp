#include "evidence/key.h"

#include "core/sha256.h"
#include "read/file_bytes.h"

#include <openssl/bio.h>
#include <openssl/err.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/pkcs12.h>
#include <openssl/x509.h>

#include <algorithm>
#include <cerrno>
#include <fcntl.h>
#include <stdexcept>
#include <system_error>
#include <unistd.h>

namespace endgrade::evidence {
namespace fs = std::filesystem;
namespace {

constexpr std::size_t kSignatureBytes = 64;
constexpr std::int64_t kMostKeyFileBytes = 16'384;
// RFC 7914's cost for what a person waits for; more would pass OpenSSL's own bound on memory.
constexpr std::uint64_t kScryptN = 1 << 14;
constexpr std::uint64_t kScryptR = 8;
constexpr std::uint64_t kScryptP = 1;

struct Free {
  void operator()(EVP_PKEY* key) const { EVP_PKEY_free(key); }
  void operator()(EVP_MD_CTX* context) const { EVP_MD_CTX_free(context); }
  void operator()(BIO* bio) const { BIO_free_all(bio); }
  void operator()(PKCS8_PRIV_KEY_INFO* key) const { PKCS8_PRIV_KEY_INFO_free(key); }
  void operator()(X509_SIG* locked) const { X509_SIG_free(locked); }
};
template <typename T>
using Owned = std::unique_ptr<T, Free>;

const unsigned char* Bytes(std::string_view text) {
  return reinterpret_cast<const unsigned char*>(text.data());
}

// OpenSSL refuses what a sound installation never does.
void Insist(bool holds) {
  if (!holds) throw std::runtime_error("OpenSSL offers no Ed25519");
}

Owned<EVP_PKEY> KeyOf(const PublicKey& key) {
  return Owned<EVP_PKEY>(
      EVP_PKEY_new_raw_public_key(EVP_PKEY_ED25519, nullptr, Bytes(key.bytes), key.bytes.size()));
}

PublicKey PublicOf(EVP_PKEY* key) {
  PublicKey half;
  half.bytes.resize(PublicKey::kBytes);
  std::size_t size = half.bytes.size();
  Insist(EVP_PKEY_get_raw_public_key(
             key, reinterpret_cast<unsigned char*>(half.bytes.data()), &size) == 1);
  return half;
}

std::string TextOf(BIO* bio) {
  char* data = nullptr;
  const long size = BIO_get_mem_data(bio, &data);
  return size > 0 ? std::string(data, static_cast<std::size_t>(size)) : "";
}

Owned<BIO> BioOf(const std::string& text) {
  return Owned<BIO>(BIO_new_mem_buf(text.data(), static_cast<int>(text.size())));
}

struct Asked {
  const AskPassphrase* ask = nullptr;
  bool was_asked = false;
};

int GivePassphrase(char* to, int room, int, void* user) {
  auto* asked = static_cast<Asked*>(user);
  asked->was_asked = true;
  const auto passphrase = *asked->ask ? (*asked->ask)() : std::nullopt;
  if (!passphrase || passphrase->size() > static_cast<std::size_t>(room)) return -1;
  std::copy(passphrase->begin(), passphrase->end(), to);
  return static_cast<int>(passphrase->size());
}

Error NoKey(const fs::path& file, const char* of) {
  return {ErrorKind::kCorrupt,
          file.string(),
          0,
          "holds no Ed25519 " + std::string(of),
          "Name a file of `endgrade key new`"};
}

std::optional<Error> WriteSecret(const fs::path& file, const std::string& text) {
  const auto refuse = [&](int error_number) {
    const bool is_there = error_number == EEXIST;
    return Error{ErrorKind::kWriteFailed,
                 file.string(),
                 0,
                 is_there ? "is there already, and a key is never written over"
                          : "cannot be written: " + std::generic_category().message(error_number),
                 is_there ? "Give another name" : "Name a folder that you may write to"};
  };
  const int descriptor =
      open(file.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600);
  if (descriptor < 0) return refuse(errno);
  const ssize_t written = write(descriptor, text.data(), text.size());
  const bool whole = written == static_cast<ssize_t>(text.size()) && fsync(descriptor) == 0;
  const int error_number = errno;
  close(descriptor);
  if (whole) return std::nullopt;
  unlink(file.c_str());
  return refuse(error_number);
}

// The key as PEM, behind a passphrase where there is one.
std::string PrivatePem(EVP_PKEY* key, const std::string& passphrase) {
  const Owned<PKCS8_PRIV_KEY_INFO> plain(EVP_PKEY2PKCS8(key));
  const Owned<BIO> bio(BIO_new(BIO_s_mem()));
  Insist(plain && bio);
  if (passphrase.empty()) {
    Insist(PEM_write_bio_PKCS8_PRIV_KEY_INFO(bio.get(), plain.get()) == 1);
    return TextOf(bio.get());
  }
  X509_ALGOR* lock =
      PKCS5_pbe2_set_scrypt(EVP_aes_256_cbc(), nullptr, 0, nullptr, kScryptN, kScryptR, kScryptP);
  Insist(lock != nullptr);
  const Owned<X509_SIG> locked(
      PKCS8_set0_pbe(passphrase.data(), static_cast<int>(passphrase.size()), plain.get(), lock));
  Insist(locked && PEM_write_bio_PKCS8(bio.get(), locked.get()) == 1);
  return TextOf(bio.get());
}

}  // namespace

std::string HexOf(std::string_view bytes) {
  constexpr std::string_view kDigits = "0123456789abcdef";
  std::string hex;
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    hex += kDigits[byte >> 4];
    hex += kDigits[byte & 15];
  }
  return hex;
}

std::optional<std::string> BytesOfHex(std::string_view hex) {
  const auto digit = [](char c) {
    if (c >= '0' && c <= '9') return c - '0';
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
  };
  if (hex.size() % 2 != 0) return std::nullopt;
  std::string bytes;
  for (std::size_t i = 0; i < hex.size(); i += 2) {
    const int high = digit(hex[i]);
    const int low = digit(hex[i + 1]);
    if (high < 0 || low < 0) return std::nullopt;
    bytes += static_cast<char>(high << 4 | low);
  }
  return bytes;
}

std::string PublicKey::Fingerprint() const { return Sha256Hex(bytes); }

bool IsSignedBy(const PublicKey& key, std::string_view message, std::string_view signature) {
  if (signature.size() != kSignatureBytes || key.bytes.size() != PublicKey::kBytes) return false;
  const auto half = KeyOf(key);
  const Owned<EVP_MD_CTX> context(EVP_MD_CTX_new());
  const bool good =
      half && context &&
      EVP_DigestVerifyInit(context.get(), nullptr, nullptr, nullptr, half.get()) == 1 &&
      EVP_DigestVerify(
          context.get(), Bytes(signature), signature.size(), Bytes(message), message.size()) == 1;
  ERR_clear_error();
  return good;
}

Result<SigningKey> SigningKey::New() {
  EVP_PKEY* key = EVP_PKEY_Q_keygen(nullptr, nullptr, "ED25519");
  Insist(key != nullptr);
  return SigningKey(std::shared_ptr<void>(key, [](void* k) { Free()(static_cast<EVP_PKEY*>(k)); }));
}

Result<SigningKey> SigningKey::OfSecret(std::string_view bytes) {
  EVP_PKEY* key =
      EVP_PKEY_new_raw_private_key(EVP_PKEY_ED25519, nullptr, Bytes(bytes), bytes.size());
  ERR_clear_error();
  if (!key) {
    return Error{ErrorKind::kBadOption, "", 0, "a secret of Ed25519 has 32 bytes", ""};
  }
  return SigningKey(std::shared_ptr<void>(key, [](void* k) { Free()(static_cast<EVP_PKEY*>(k)); }));
}

Result<SigningKey> SigningKey::Read(const fs::path& file, const AskPassphrase& ask) {
  const auto text = read::ReadNamedFileBytes(file, kMostKeyFileBytes);
  if (!text.ok()) return text.error();
  Asked asked{&ask};
  const auto bio = BioOf(*text);
  Owned<EVP_PKEY> key(PEM_read_bio_PrivateKey(bio.get(), nullptr, &GivePassphrase, &asked));
  ERR_clear_error();
  if (!key && asked.was_asked) {
    return Error{ErrorKind::kBadOption,
                 file.string(),
                 0,
                 "the key is locked, and the passphrase is wrong or missing",
                 "Give it with --passphrase-file, or type it when asked"};
  }
  if (!key || EVP_PKEY_get_id(key.get()) != EVP_PKEY_ED25519) return NoKey(file, "private key");
  return SigningKey(
      std::shared_ptr<void>(key.release(), [](void* k) { Free()(static_cast<EVP_PKEY*>(k)); }));
}

std::optional<Error> SigningKey::Write(const fs::path& file, const std::string& passphrase) const {
  return WriteSecret(file, PrivatePem(static_cast<EVP_PKEY*>(key_.get()), passphrase));
}

PublicKey SigningKey::Public() const { return PublicOf(static_cast<EVP_PKEY*>(key_.get())); }

std::string SigningKey::Sign(std::string_view message) const {
  const Owned<EVP_MD_CTX> context(EVP_MD_CTX_new());
  std::string signature(kSignatureBytes, '\0');
  std::size_t size = signature.size();
  Insist(context &&
         EVP_DigestSignInit(
             context.get(), nullptr, nullptr, nullptr, static_cast<EVP_PKEY*>(key_.get())) == 1 &&
         EVP_DigestSign(context.get(),
                        reinterpret_cast<unsigned char*>(signature.data()),
                        &size,
                        Bytes(message),
                        message.size()) == 1);
  return signature;
}

std::string PublicKeyPem(const PublicKey& key) {
  const auto half = KeyOf(key);
  const Owned<BIO> bio(BIO_new(BIO_s_mem()));
  Insist(half && bio && PEM_write_bio_PUBKEY(bio.get(), half.get()) == 1);
  return TextOf(bio.get());
}

Result<PublicKey> ReadPublicKey(const fs::path& file) {
  const auto text = read::ReadNamedFileBytes(file, kMostKeyFileBytes);
  if (!text.ok()) return text.error();
  const auto bio = BioOf(*text);
  Owned<EVP_PKEY> key(PEM_read_bio_PUBKEY(bio.get(), nullptr, nullptr, nullptr));
  if (!key) {
    const AskPassphrase never;
    Asked asked{&never};
    const auto again = BioOf(*text);
    key.reset(PEM_read_bio_PrivateKey(again.get(), nullptr, &GivePassphrase, &asked));
  }
  ERR_clear_error();
  if (!key || EVP_PKEY_get_id(key.get()) != EVP_PKEY_ED25519) return NoKey(file, "public key");
  return PublicOf(key.get());
}

}  // namespace endgrade::evidence
