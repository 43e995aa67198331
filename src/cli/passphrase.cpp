#include "cli/passphrase.h"

#include "read/file_bytes.h"

#include <openssl/evp.h>

#include <array>
#include <unistd.h>

namespace endgrade::cli {
namespace {

constexpr std::int64_t kMostFileBytes = 4096;
constexpr std::size_t kLongest = 1000;

// OpenSSL's own prompt; nothing where there is no terminal.
std::optional<std::string> Typed(const char* prompt, bool twice) {
  if (isatty(STDIN_FILENO) == 0) return std::nullopt;
  std::array<char, kLongest> text{};
  const int refused = EVP_read_pw_string(text.data(), kLongest, prompt, twice ? 1 : 0);
  std::string passphrase = text.data();
  OPENSSL_cleanse(text.data(), text.size());
  if (refused != 0) return std::nullopt;
  return passphrase;
}

}  // namespace

Result<std::string> PassphraseOfFile(const std::string& file) {
  const auto bytes = read::ReadNamedFileBytes(file, kMostFileBytes);
  if (!bytes.ok()) return bytes.error();
  const std::string line = bytes->substr(0, bytes->find_first_of("\r\n"));
  if (!line.empty() && line.size() < kLongest) return line;
  return Error{ErrorKind::kBadOption,
               file,
               0,
               "its first line is no passphrase",
               "Write the passphrase into its first line"};
}

Result<std::string> TypeNewPassphrase() {
  const auto typed = Typed("Passphrase for the new key: ", true);
  if (typed && !typed->empty()) return *typed;
  return Error{ErrorKind::kBadOption,
               "",
               0,
               "no passphrase was typed",
               "Type the same one twice at a terminal, or use --passphrase-file"};
}

evidence::AskPassphrase PassphraseFrom(const std::string& file) {
  return [file]() -> std::optional<std::string> {
    if (file.empty()) return Typed("Passphrase of the key: ", false);
    const auto line = PassphraseOfFile(file);
    return line.ok() ? std::optional(*line) : std::nullopt;
  };
}

}  // namespace endgrade::cli
