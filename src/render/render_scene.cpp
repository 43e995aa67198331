#include "render/canvas.h"
#include "render/encode.h"
#include "render/face.h"
#include "render/observer.h"
#include "render/sensor.h"
#include "render/truth.h"

#include <opencv2/core/utility.hpp>

namespace endgrade {
namespace {

// Every feature looked at by itself; the order of work is free, that of results is not.
void LookAtFeatures(const render::Canvas& canvas,
                    const render::Observer& observer,
                    SceneTruth& truth) {
  cv::parallel_for_(cv::Range(0, static_cast<int>(truth.features.size())),
                    [&](const cv::Range& range) {
                      for (int i = range.start; i < range.end; ++i) {
                        const auto at = static_cast<size_t>(i);
                        const render::Sighting sighting = observer.Look(canvas.stamps[at]);
                        truth.features[at].snr = sighting.snr;
                        truth.features[at].contrast_imaged = sighting.contrast_imaged;
                      }
                    });
}

std::optional<Error> StoreAsJpeg(const SceneCamera& camera, RenderedScene& rendered) {
  auto bytes = render::EncodeJpeg(rendered.picture, camera.jpeg_quality, camera.jpeg_half_chroma);
  if (!bytes.ok()) return bytes.error();
  auto picture = render::DecodeJpeg(*bytes);
  if (!picture.ok()) return picture.error();
  rendered.file_bytes = std::move(*bytes);
  rendered.picture = *picture;
  return std::nullopt;
}

}  // namespace

Result<RenderedScene> RenderScene(const SceneDescription& scene) {
  if (auto problem = scene.Problem()) return Error{ErrorKind::kBadOption, "", 0, *problem, ""};
  const render::RuleTable& table = *render::FindTable(scene.limits_id);
  const render::Shapes shapes = render::MakeShapes(scene);
  const render::Face face(scene);
  const render::Canvas canvas = render::PaintScene(scene, face, shapes);
  const cv::Mat gain = render::ElectronsPerLight(scene);
  cv::Mat mean_e = render::Expose(canvas, scene);
  cv::multiply(mean_e, gain, mean_e);

  RenderedScene rendered;
  SceneTruth& truth = rendered.truth;
  truth = render::TrueGeometry(scene, canvas.grid);
  truth.features = render::MeasureFeatures(scene, canvas.grid, table, shapes, truth.blur_fwhm_um);
  const render::Observer observer(scene, face, canvas, mean_e, gain);
  LookAtFeatures(canvas, observer, truth);
  render::JudgeSight(scene, canvas.grid, table, observer, mean_e, truth);
  render::JudgeFace(scene, table, truth);

  rendered.picture = render::TakePicture(mean_e, scene);
  if (scene.camera.jpeg_quality > 0) {
    if (auto error = StoreAsJpeg(scene.camera, rendered)) return *error;
  }
  return rendered;
}

Result<std::string> EncodePicture(const RenderedScene& rendered) {
  if (!rendered.file_bytes.empty()) return rendered.file_bytes;
  return render::EncodePng(rendered.picture);
}

std::string PictureExtension(const SceneDescription& scene) {
  return scene.camera.jpeg_quality > 0 ? ".jpg" : ".png";
}

}  // namespace endgrade
