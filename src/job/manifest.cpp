#include "job/manifest.h"

#include "core/sha256.h"
#include "job/plan.h"

#include <nlohmann/json.hpp>
#include <openssl/evp.h>

#include <array>
#include <cerrno>
#include <fcntl.h>
#include <memory>
#include <stdexcept>
#include <system_error>
#include <unistd.h>

namespace endgrade::job {
namespace fs = std::filesystem;
namespace {

using Json = nlohmann::ordered_json;

constexpr const char* kManifestSchema = "endgrade.job-manifest/1";

Error Damaged() {
  return {ErrorKind::kCorrupt,
          kManifestFile,
          0,
          "is not as it was written",
          "Bring back a copy of the job"};
}

Error CannotRead(const fs::path& file, int error_number) {
  return {error_number == ENOENT ? ErrorKind::kNotFound : ErrorKind::kUnreadable,
          file.string(),
          0,
          "cannot be read: " + std::generic_category().message(error_number),
          "Check its permissions, and the disk"};
}

// SHA-256 of a file of any size, piece by piece.
class Digest {
 public:
  Digest() : context_(nullptr, &EVP_MD_CTX_free) {
    RequireOpenSsl();
    context_.reset(EVP_MD_CTX_new());
    if (!context_ || EVP_DigestInit_ex(context_.get(), EVP_sha256(), nullptr) != 1) {
      throw std::runtime_error("OpenSSL offers no SHA-256");
    }
  }
  void Add(const char* bytes, std::size_t count) { EVP_DigestUpdate(context_.get(), bytes, count); }
  std::string Hex() {
    std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
    unsigned int length = 0;
    EVP_DigestFinal_ex(context_.get(), digest.data(), &length);
    constexpr const char* kDigits = "0123456789abcdef";
    std::string hex;
    for (unsigned int i = 0; i < length; ++i) {
      hex += kDigits[digest[i] >> 4];
      hex += kDigits[digest[i] & 15];
    }
    return hex;
  }

 private:
  std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context_;
};

}  // namespace

std::string Manifest::Json() const {
  job::Json list = job::Json::array();
  for (const auto& [path, entry] : files) {
    list.push_back({{"path", path}, {"size_bytes", entry.size_bytes}, {"sha256", entry.sha256}});
  }
  const job::Json json = {{"schema", kManifestSchema},
                          {"photographs", num_photographs},
                          {"head", head},
                          {"log_entries", num_entries},
                          {"log_head", log_head},
                          {"files", std::move(list)}};
  return json.dump(1, ' ', false, job::Json::error_handler_t::replace) + "\n";
}

Result<Manifest> Manifest::Parse(const std::string& text) {
  const auto json = job::Json::parse(text, nullptr, false);
  if (!json.is_object()) return Damaged();
  try {
    const auto schema = json.at("schema").get<std::string>();
    if (schema.starts_with("endgrade.job-manifest/") && schema != kManifestSchema) {
      return Error{ErrorKind::kUnsupported,
                   kManifestFile,
                   0,
                   "is of schema \"" + schema + "\"; this program knows " + kManifestSchema,
                   "Use the newer endgrade that wrote it"};
    }
    Manifest manifest;
    manifest.num_photographs = json.at("photographs").get<std::int64_t>();
    manifest.head = json.at("head").get<std::string>();
    manifest.num_entries = json.at("log_entries").get<std::int64_t>();
    manifest.log_head = json.at("log_head").get<std::string>();
    for (const auto& file : json.at("files")) {
      manifest.files[file.at("path").get<std::string>()] = {
          file.at("size_bytes").get<std::int64_t>(), file.at("sha256").get<std::string>()};
    }
    if (manifest.Json() != text) return Damaged();
    return manifest;
  } catch (const nlohmann::json::exception&) {
    return Damaged();
  }
}

bool IsListed(const std::string& path) {
  return path != kManifestFile && path != std::string(kStoreFile) + ".lock";
}

Result<FileEntry> EntryOf(const fs::path& file) {
  const int descriptor = open(file.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
  if (descriptor < 0) return CannotRead(file, errno);
  FileEntry entry;
  Digest digest;
  std::array<char, 1 << 16> piece{};
  ssize_t count = 0;
  while ((count = ::read(descriptor, piece.data(), piece.size())) != 0) {
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) break;
    digest.Add(piece.data(), static_cast<std::size_t>(count));
    entry.size_bytes += count;
  }
  const int error_number = errno;
  close(descriptor);
  if (count < 0) return CannotRead(file, error_number);
  entry.sha256 = digest.Hex();
  return entry;
}

Found FilesIn(const fs::path& folder) {
  Found found;
  std::error_code error;
  fs::recursive_directory_iterator it(folder, error);
  for (; !error && it != fs::recursive_directory_iterator(); it.increment(error)) {
    std::error_code unknown;
    const fs::file_status status = it->symlink_status(unknown);
    if (fs::is_directory(status)) continue;
    found.files[it->path().lexically_relative(folder).generic_string()] =
        fs::is_regular_file(status);
  }
  if (error) found.problem = error.message();
  return found;
}

bool IsPartial(const std::string& path) {
  const std::string name = fs::path(path).filename().string();
  return name.starts_with(".endgrade-") && name.ends_with(".partial");
}

}  // namespace endgrade::job
