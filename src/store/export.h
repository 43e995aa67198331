// What is in the store, for other programs.
#pragma once

#include "store/store.h"

#include <functional>
#include <string>

namespace endgrade::store {

// Receives the text piece by piece; false stops the export.
using Sink = std::function<bool(const std::string&)>;

// A head line, then a row of the store each, no pictures and no records.
[[nodiscard]] std::optional<Error> ExportCsv(const Store& store,
                                             const Filter& filter,
                                             const Sink& sink);

// One JSON object a line, schema "endgrade.photograph/1": the row's columns and its whole record.
[[nodiscard]] std::optional<Error> ExportNdjson(const Store& store,
                                                const Filter& filter,
                                                const Sink& sink);

// One line a row for a terminal: "cord-0007 A attempt 2  fail  2026-11-25T10:11:12  photo.jpg".
[[nodiscard]] std::string RowLine(const Row& row);

}  // namespace endgrade::store
