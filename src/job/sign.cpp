#include "job/sign.h"

#include <nlohmann/json.hpp>

#include <cstdio>
#include <system_error>

namespace endgrade::job {
namespace fs = std::filesystem;
namespace {

using Json = nlohmann::ordered_json;

constexpr const char* kSignatureSchema = "endgrade.signature/1";

Json JsonOf(const Statement& statement) {
  return {{"job", statement.job},
          {"photographs", statement.num_photographs},
          {"head", statement.head},
          {"log_entries", statement.num_entries},
          {"log_head", statement.log_head},
          {"at", statement.at}};
}

std::string Dump(const Json& json, int indent) {
  return json.dump(indent, ' ', false, Json::error_handler_t::replace);
}

std::string MessageOf(const Statement& statement) {
  return std::string(kSignatureSchema) + "\n" + Dump(JsonOf(statement), -1);
}

Error Damaged(const std::string& name) {
  return {ErrorKind::kCorrupt, name, 0, "is not as it was written", "Bring back a copy of it"};
}

std::string NextName(const fs::path& job) {
  std::error_code ignored;
  for (int n = 1;; ++n) {
    char name[40];
    std::snprintf(name, sizeof name, "signatures/%04d.json", n);
    if (!fs::exists(job / name, ignored)) return name;
  }
}

}  // namespace

std::string SignatureJson(const Signature& signature) {
  const Json json = {{"schema", kSignatureSchema},
                     {"statement", JsonOf(signature.statement)},
                     {"public_key", evidence::HexOf(signature.key.bytes)},
                     {"signature", evidence::HexOf(signature.bytes)}};
  return Dump(json, 1) + "\n";
}

Result<Signature> ParseSignature(const std::string& text, const std::string& name) {
  const Json json = Json::parse(text, nullptr, false);
  if (!json.is_object()) return Damaged(name);
  try {
    const auto schema = json.at("schema").get<std::string>();
    if (schema.starts_with("endgrade.signature/") && schema != kSignatureSchema) {
      return Error{ErrorKind::kUnsupported,
                   name,
                   0,
                   "is of schema \"" + schema + "\"; this program knows " + kSignatureSchema,
                   "Use the newer endgrade that wrote it"};
    }
    Signature signature;
    const Json& statement = json.at("statement");
    signature.statement = {statement.at("job").get<std::string>(),
                           statement.at("photographs").get<std::int64_t>(),
                           statement.at("head").get<std::string>(),
                           statement.at("log_entries").get<std::int64_t>(),
                           statement.at("log_head").get<std::string>(),
                           statement.at("at").get<std::string>()};
    const auto key = evidence::BytesOfHex(json.at("public_key").get<std::string>());
    const auto bytes = evidence::BytesOfHex(json.at("signature").get<std::string>());
    if (!key || !bytes) return Damaged(name);
    signature.key.bytes = *key;
    signature.bytes = *bytes;
    if (SignatureJson(signature) != text) return Damaged(name);
    return signature;
  } catch (const nlohmann::json::exception&) {
    return Damaged(name);
  }
}

bool Holds(const Signature& signature) {
  return evidence::IsSignedBy(signature.key, MessageOf(signature.statement), signature.bytes);
}

Result<Signature> Sign(Folder& folder, const evidence::SigningKey& key) {
  Signature signature;
  signature.key = key.Public();
  if (auto error = folder.Log(SignEvent(signature.key.Fingerprint(), folder.job_file_sha256()))) {
    return *error;
  }
  const auto runs = folder.store().Runs();
  if (!runs.ok()) return runs.error();
  Statement& statement = signature.statement;
  statement.job = folder.plan().name;
  statement.num_photographs = folder.store().Count();
  statement.head = folder.store().Head();
  statement.num_entries = static_cast<std::int64_t>(runs->size());
  statement.log_head = runs->back().chain;
  statement.at = runs->back().at;
  signature.bytes = key.Sign(MessageOf(statement));
  if (auto error = folder.Write(NextName(folder.path()), SignatureJson(signature))) return *error;
  return signature;
}

}  // namespace endgrade::job
