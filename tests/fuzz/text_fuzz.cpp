// A text file of any bytes as each of those that people write: limits, lot, camera, scene. The
// first byte says which.
#include "endgrade/camera.h"
#include "endgrade/limits.h"
#include "endgrade/render.h"
#include "lot/settings.h"
#include "tests/fuzz/scratch_file.h"

namespace {

void RequireWords(const endgrade::Error& error) {
  if (error.what.empty() || error.Text().find('\n') != std::string::npos) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) {
  using namespace endgrade;
  if (size == 0) return 0;
  const std::uint8_t kind = bytes[0];
  const auto file =
      fuzz::ScratchFile(bytes + 1, size - 1, kind % 5 == 4 ? "scene.json" : "file.toml");
  switch (kind % 5) {
    case 0: {
      const LimitsCheck check = CheckLimits(file);
      if (check.errors.empty() != check.limits.has_value()) std::abort();
      if (check.limits && check.limits->Problem()) std::abort();
      for (const Error& error : check.errors) RequireWords(error);
      break;
    }
    case 1: {
      const auto check = lot::ReadLotFile(file);
      if (check.errors.empty() != check.settings.has_value()) std::abort();
      for (const Error& error : check.errors) RequireWords(error);
      break;
    }
    case 2: {
      const auto profile = ReadCameraProfile(file);
      if (!profile.ok()) RequireWords(profile.error());
      if (profile.ok() && profile->Problem()) std::abort();
      break;
    }
    default: {
      const auto scene = ReadScene(file);
      if (!scene.ok()) RequireWords(scene.error());
    }
  }
  return 0;
}
