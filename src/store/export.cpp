#include "store/export.h"

#include "present/escape.h"
#include "store/csv.h"

#include <nlohmann/json.hpp>

namespace endgrade::store {
namespace {

using Json = nlohmann::ordered_json;

std::string OneLine(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace

std::optional<Error> ExportCsv(const Store& store, const Filter& filter, const Sink& sink) {
  if (!sink(CsvLine({"seq",
                     "path",
                     "kind",
                     "cord",
                     "end",
                     "fibre",
                     "attempt",
                     "port",
                     "rater",
                     "verdict",
                     "marginal",
                     "taken_at",
                     "taken_from",
                     "limits",
                     "sha256",
                     "limits_sha256",
                     "program",
                     "chain"}))) {
    return std::nullopt;
  }
  return store.ForEach(filter, RowParts::kNoRecord, [&](const Row& row) {
    const Face& face = row.face;
    return sink(CsvLine({std::to_string(row.seq),
                         row.path,
                         face.kind,
                         face.cord,
                         face.end,
                         std::to_string(face.fibre),
                         std::to_string(face.attempt),
                         face.port,
                         face.rater,
                         row.verdict,
                         row.marginal ? "yes" : "no",
                         row.taken_at,
                         row.taken_from,
                         row.limits_id,
                         row.sha256,
                         row.limits_sha256,
                         row.program,
                         row.chain}));
  });
}

std::optional<Error> ExportNdjson(const Store& store, const Filter& filter, const Sink& sink) {
  return store.ForEach(filter, RowParts::kNoThumbnail, [&](const Row& row) {
    const Face& face = row.face;
    Json json = {{"schema", "endgrade.photograph/1"},
                 {"seq", row.seq},
                 {"path", row.path},
                 {"kind", face.kind},
                 {"cord", face.cord},
                 {"end", face.end},
                 {"fibre", face.fibre},
                 {"attempt", face.attempt},
                 {"port", face.port},
                 {"rater", face.rater},
                 {"verdict", row.verdict},
                 {"marginal", row.marginal},
                 {"taken_at", row.taken_at},
                 {"taken_from", row.taken_from},
                 {"chain", row.chain}};
    // The record is JSON of our own making; one that is not was edited, and goes out as text.
    const Json record = Json::parse(row.record, nullptr, false);
    json["record"] = record.is_discarded() ? Json(row.record) : record;
    return sink(OneLine(json) + "\n");
  });
}

std::string RowLine(const Row& row) {
  const Face& face = row.face;
  std::string line = face.cord + " " + face.end;
  if (face.fibre != 1) line += " fibre " + std::to_string(face.fibre);
  line += " attempt " + std::to_string(face.attempt);
  if (!face.port.empty()) line += " port " + face.port;
  line += "  " + row.verdict + "  " + row.taken_at + "  " + row.path;
  return PrintableText(line);
}

}  // namespace endgrade::store
