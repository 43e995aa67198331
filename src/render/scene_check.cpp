#include "endgrade/scene.h"
#include "render/rule_table.h"
#include "render/scene_fields.h"

#include <cmath>
#include <cstdio>

namespace endgrade {
namespace {

// The first value outside its range, in words.
class RangeCheck {
 public:
  explicit RangeCheck(std::string prefix) : prefix_(std::move(prefix)) {}

  void Number(const char* key, double& value, double low, double high) {
    if (!(value >= low && value <= high)) Note(key, value, low, high);
  }
  void Whole(const char* key, int& value, int low, int high) {
    if (value < low || value > high) Note(key, value, low, high);
  }
  void Point(const char* key, cv::Point2d& value, double most) {
    if (!(std::abs(value.x) <= most)) Note(key, value.x, -most, most);
    if (!(std::abs(value.y) <= most)) Note(key, value.y, -most, most);
  }
  void Tint(const char* key, cv::Vec3d& value) {
    for (int c = 0; c < 3; ++c) {
      if (!(value[c] >= 0 && value[c] <= 2)) Note(key, value[c], 0, 2);
    }
  }
  void Text(const char* key, std::string& value) {
    if (value.size() > 60) Note(key, static_cast<double>(value.size()), 0, 60);
  }
  void Seed(const char*, std::uint64_t&) {}
  void Flag(const char*, bool&) {}
  template <typename E, typename Names>
  void Choice(const char*, E&, const Names&) {}

  [[nodiscard]] const std::optional<std::string>& Problem() const { return problem_; }

 private:
  void Note(const char* key, double value, double low, double high) {
    if (problem_) return;
    char text[160];
    std::snprintf(text, sizeof text, " = %g: must be within [%g, %g]", value, low, high);
    problem_ = prefix_ + key + text;
  }

  std::string prefix_;
  std::optional<std::string> problem_;
};

}  // namespace

std::optional<std::string> SceneDescription::Problem() const {
  SceneDescription copy = *this;
  RangeCheck fibre_check("fibre.");
  render::VisitFibre(copy.fibre, fibre_check);
  if (fibre_check.Problem()) return fibre_check.Problem();
  RangeCheck face_check("face.");
  render::VisitFace(copy.face, face_check);
  if (face_check.Problem()) return face_check.Problem();
  RangeCheck camera_check("camera.");
  render::VisitCamera(copy.camera, camera_check);
  if (camera_check.Problem()) return camera_check.Problem();
  for (size_t i = 0; i < copy.features.size(); ++i) {
    RangeCheck check("features[" + std::to_string(i) + "].");
    render::VisitFeature(copy.features[i], check);
    if (check.Problem()) return check.Problem();
  }
  if (render::FindTable(limits_id) == nullptr) {
    std::string ids;
    for (const std::string& id : render::TableIds()) ids += (ids.empty() ? "" : ", ") + id;
    return "limits_id = \"" + limits_id + "\": must be one of " + ids;
  }
  return std::nullopt;
}

}  // namespace endgrade
