// The numbers of a TIFF's first directory, by tag (TIFF 6.0, section 2).
#pragma once

#include "endgrade/result.h"

#include <cstdint>
#include <map>
#include <string_view>
#include <vector>

namespace endgrade::read {

class TiffDirectory {
 public:
  // Errors: kCorrupt for a directory, or numbers in it, that are not in the file.
  [[nodiscard]] static Result<TiffDirectory> Read(std::string_view bytes);

  // All numbers of a tag; empty where the tag is missing or holds none.
  [[nodiscard]] const std::vector<std::uint32_t>& All(std::uint32_t tag) const;

  [[nodiscard]] std::uint32_t First(std::uint32_t tag, std::uint32_t otherwise) const;
  [[nodiscard]] bool Has(std::uint32_t tag) const { return !All(tag).empty(); }

 private:
  std::map<std::uint32_t, std::vector<std::uint32_t>> numbers_;
};

}  // namespace endgrade::read
