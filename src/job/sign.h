// A signature over all that a job holds up to a moment.
#pragma once

#include "evidence/key.h"
#include "job/folder.h"

#include <cstdint>
#include <string>

namespace endgrade::job {

// What is signed: how far both chains had come. The photographs' chain holds every photograph's,
// limits' and record's hash; the log's holds the attachments' and the job file's.
struct Statement {
  std::string job;  // its name
  std::int64_t num_photographs = 0;
  std::string head;
  std::int64_t num_entries = 0;
  std::string log_head;
  std::string at;  // UTC, by the signer's clock
};

struct Signature {
  Statement statement;
  evidence::PublicKey key;
  std::string bytes;  // 64
};

// Signs what is there, and keeps the signature as "signatures/<n>.json".
[[nodiscard]] Result<Signature> Sign(Folder& folder, const evidence::SigningKey& key);

// Schema "endgrade.signature/1", in exactly one form. Parse errors: kCorrupt, kUnsupported.
[[nodiscard]] std::string SignatureJson(const Signature& signature);
[[nodiscard]] Result<Signature> ParseSignature(const std::string& json, const std::string& name);

// Whether the key's owner signed the statement.
[[nodiscard]] bool Holds(const Signature& signature);

}  // namespace endgrade::job
