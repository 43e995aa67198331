// A file of any bytes as a lot's store; and any text as the record of one of its rows.
#include "store/export.h"
#include "store/store.h"
#include "summary/faces.h"
#include "tests/fuzz/scratch_file.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) {
  using namespace endgrade;
  if (size == 0) return 0;
  if (bytes[0] != 'S') {  // "SQLite format 3" begins a store
    store::Row row;
    row.record.assign(reinterpret_cast<const char*>(bytes), size);
    row.path = row.record.substr(0, 40);
    static_cast<void>(summary::AttemptOf(row));
    if (store::RowLine(row).find_first_of("\n\x1b\r") != std::string::npos) std::abort();
    return 0;
  }
  const auto file = fuzz::ScratchFile(bytes, size, "lot.sqlite");
  {
    const auto store = store::Store::OpenToRead(file);
    if (store.ok()) {
      const auto verification = store::Verify(*store);
      static_cast<void>(verification);
      std::size_t rows = 0;
      const auto take = [&rows](const std::string&) { return ++rows < 1000; };
      static_cast<void>(store::ExportCsv(*store, {}, take));
      static_cast<void>(store::ExportNdjson(*store, {}, take));
      static_cast<void>(store->ForEach({}, store::RowParts::kAll, [&rows](const store::Row& row) {
        static_cast<void>(summary::AttemptOf(row));
        return ++rows < 2000;
      }));
    }
  }
  auto appended = store::Store::OpenToAppend(file);
  if (appended.ok()) static_cast<void>(appended->LogRun("started: fuzz"));
  return 0;
}
