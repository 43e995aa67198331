// The report's list of cords.
#pragma once

#include "report/lot_report.h"

#include <string>

namespace endgrade::report {

[[nodiscard]] Result<std::string> CordCards(const store::Store& store,
                                            const summary::Cords& cords,
                                            const summary::Decision& decision,
                                            const ReportOptions& options);

[[nodiscard]] const char* Sign(summary::State state);  // a mark beside the word and the colour

}  // namespace endgrade::report
