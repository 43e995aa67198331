// What a verification found, in words.
#pragma once

#include <string>
#include <vector>

namespace endgrade::verify {

struct Report {
  // Something is not as it was written, is missing, or does not hold.
  std::vector<std::string> problems;
  // Nothing was changed, but a photograph does not get the recorded grade from this program, or
  // could not be graded again.
  std::vector<std::string> differences;
  // What was checked and what a reader should know.
  std::vector<std::string> notes;
};

}  // namespace endgrade::verify
