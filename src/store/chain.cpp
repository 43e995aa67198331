#include "store/chain.h"

#include "core/sha256.h"

#include <cstdio>

namespace endgrade::store {

std::string ChainStart() { return Sha256Hex("endgrade.store"); }

std::string ChainOf(const std::string& before, const std::vector<std::string>& fields) {
  std::string bytes = before;
  for (const std::string& field : fields) {
    bytes += '\n' + std::to_string(field.size()) + ':';
    bytes += field;
  }
  return Sha256Hex(bytes);
}

std::string ChainOf(const std::string& before, const Row& row) {
  char width[32];
  std::snprintf(width, sizeof width, "%.6f", row.thumbnail_um);
  const Face& face = row.face;
  return ChainOf(before,
                 {std::to_string(row.seq),
                  row.path,
                  face.kind,
                  face.cord,
                  face.end,
                  face.port,
                  face.rater,
                  std::to_string(face.fibre),
                  std::to_string(face.attempt),
                  row.taken_at,
                  row.taken_from,
                  std::to_string(row.size_bytes),
                  std::to_string(row.modified_ns),
                  row.sha256,
                  row.limits_id,
                  row.limits_sha256,
                  row.grade_key,
                  row.program,
                  row.verdict,
                  row.marginal ? "1" : "0",
                  row.record,
                  row.thumbnail,
                  width});
}

}  // namespace endgrade::store
