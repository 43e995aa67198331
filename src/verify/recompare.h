// A comparison inside a page or a picture, worked out again from its photographs.
#pragma once

#include "endgrade/grade_image.h"
#include "evidence/evidence.h"
#include "verify/report.h"

#include <string>
#include <vector>

namespace endgrade::verify {

struct ComparedFile {
  const evidence::Carried& carried;
  const std::string& carried_text;
  const std::string& bytes;  // of the whole file
};

// How the photographs lie on each other and what became of each thing must be the same; where all
// the rest is too, the advice's wording included, the page or picture is drawn again and must have
// the same bytes.
//
//   frames    of the carried records in turn, each known to have its recorded grade
void CompareAgain(const ComparedFile& file,
                  const std::vector<Frame>& frames,
                  const Limits& limits,
                  const GradeOptions& grading,
                  Report* report);

}  // namespace endgrade::verify
