// What a job's folder and its papers are read from, any bytes each: the job file, the manifest, the
// settings of a log entry, an overlay or a report with its evidence, a path, and an address. The
// first byte says which.
#include "evidence/carried.h"
#include "evidence/evidence.h"
#include "job/address.h"
#include "job/manifest.h"
#include "job/plan.h"
#include "lot/inside.h"
#include "tests/fuzz/scratch_file.h"

namespace {

using namespace endgrade;
namespace fs = std::filesystem;

void Require(bool holds) {
  if (!holds) std::abort();
}

void RequireWords(const Error& error) {
  Require(!error.what.empty() && error.Text().find('\n') == std::string::npos);
}

void ReadJobFile(const std::uint8_t* bytes, std::size_t size) {
  const fs::path folder = fuzz::ScratchFile(bytes, size, job::kJobFile).parent_path();
  const auto check = job::ReadPlan(folder);
  Require(check.errors.empty() == check.plan.has_value());
  for (const Error& error : check.errors) RequireWords(error);
  if (!check.plan) return;
  for (const job::Port& port : check.plan->ports) {
    const fs::path place = port.address.Folder();
    Require(place.is_relative());
    for (const fs::path& part : place) Require(part != ".." && part != ".");
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) {
  if (size == 0) return 0;
  const std::string text(reinterpret_cast<const char*>(bytes) + 1, size - 1);
  switch (bytes[0] % 5) {
    case 0:
      ReadJobFile(bytes + 1, size - 1);
      break;
    case 1: {
      const auto manifest = job::Manifest::Parse(text);
      if (manifest.ok()) Require(manifest->Json() == text);  // exactly one form
      if (!manifest.ok()) RequireWords(manifest.error());
      break;
    }
    case 2: {
      const auto settings = evidence::ParseSettings(text);
      if (settings.ok()) {
        const auto again = evidence::ParseSettings(evidence::SettingsJson(*settings));
        Require(again.ok() && *again == *settings);
      }
      break;
    }
    case 3: {
      const auto carried = evidence::CarriedText(text, "overlay");
      if (!carried.ok()) RequireWords(carried.error());
      // Also without what carries it, which has checksums of its own.
      const auto read = evidence::ParseCarried(carried.ok() ? *carried : text);
      if (!read.ok()) RequireWords(read.error());
      break;
    }
    default: {
      const fs::path home = fs::canonical(fuzz::ScratchFolder());
      if (const auto place = lot::PlaceInside(home, text)) {
        const fs::path from_home = place->lexically_relative(home);
        Require(!from_home.empty() && *from_home.begin() != "..");
      }
    }
  }
  return 0;
}
