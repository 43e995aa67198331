// Which photographs belong to the lot, and what each is of.
#pragma once

#include "lot/settings.h"
#include "store/row.h"

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace endgrade::lot {

struct Photograph {
  std::filesystem::path file;
  std::string path;  // below the lot's folder, with slashes
  store::Face face;
  std::int64_t size_bytes = 0;
  std::int64_t modified_ns = 0;
  const Limits* limits = nullptr;  // of the settings
};

// Something that the lot goes on without; the report lists it.
struct LeftOut {
  std::string path;
  std::string why;  // and what to do
};

struct Intake {
  std::vector<Photograph> photographs;  // by the bytes of their paths
  std::vector<LeftOut> left_out;        // likewise
};

// Names that match no pattern, kinds without limits and files that are not there are left out. Two
// photographs of one face and attempt both stay, so that both are evidence, and are both named in
// left_out: the summary counts neither.
[[nodiscard]] Intake TakeIn(const Settings& settings,
                            const std::vector<std::filesystem::path>& files);

}  // namespace endgrade::lot
