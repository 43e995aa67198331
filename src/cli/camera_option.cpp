#include "cli/camera_option.h"

namespace endgrade::cli {

void AddCameraOption(CLI::App& verb, std::string* file) {
  verb.add_option("--camera", *file, "What is known of the camera: a file of 'camera learn'")
      ->type_name("FILE");
}

std::optional<Error> UseCameraFile(const std::string& file, GradeOptions* options) {
  if (file.empty()) return std::nullopt;
  auto profile = ReadCameraProfile(file);
  if (!profile.ok()) return profile.error();
  options->camera = std::make_shared<const CameraProfile>(*std::move(profile));
  return std::nullopt;
}

}  // namespace endgrade::cli
