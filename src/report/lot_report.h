// The lot's report: one self-contained HTML file; and a spreadsheet's CSV.
#pragma once

#include "lot/intake.h"
#include "lot/settings.h"
#include "store/store.h"
#include "summary/lot_summary.h"

#include <cstddef>
#include <string>
#include <vector>

namespace endgrade::report {

struct ReportOptions {
  // Most bytes that pictures take, as base64. When all of them would take more they are made
  // smaller; when even that is too much, faces that pass go without. 24 MB leaves room for the text
  // of 2,000 cords within 40 MB.
  std::size_t max_picture_bytes = 24'000'000;
  // Most bytes of whole records inside; beyond that their hashes.
  std::size_t max_record_bytes = 6'000'000;
};

// Needs no network and no other file; works without scripts but for filters and overlays. The same
// store, settings and left-out list give the same bytes.
[[nodiscard]] Result<std::string> LotReport(const store::Store& store,
                                            const lot::Settings& settings,
                                            const summary::Cords& cords,
                                            const summary::LotSummary& summary,
                                            const std::vector<lot::LeftOut>& left_out,
                                            const ReportOptions& options = {});

// One row a face, RFC 4180, safe to open in a spreadsheet.
[[nodiscard]] std::string FacesCsv(const summary::Cords& cords);

}  // namespace endgrade::report
