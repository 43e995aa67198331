// Photographs of end faces with known truth, from a seed and a description. Stands beside the
// chain of steps and shares no code with it: tests, demonstration and training lean on that.
#pragma once

#include "endgrade/geometry.h"
#include "endgrade/result.h"
#include "endgrade/scene.h"

#include <opencv2/core.hpp>

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace endgrade {

// What is true of one feature of the scene.
struct TrueFeature {
  int id = 0;  // 1-based, in the scene's order
  FeatureShape shape = FeatureShape::kSpeck;
  bool is_scratch = false;           // in the standard's sense; else a defect
  double size_um = 0;                // scratch: width; defect: enclosing diameter
  double diameter_enclosing_um = 0;  // smallest circle around the outline
  std::optional<double> width_um;    // lines
  std::optional<double> length_um;
  double radius_inner_um = 0;  // least distance of any point of it from the cladding's centre
  std::string zone;            // innermost zone touched; empty outside all zones
  cv::Point2d centre_um;       // of the enclosing circle
  cv::Point2d centre_px;
  double contrast = 0;         // as described, before the optics
  double contrast_imaged = 0;  // extreme after optics and pixels, linear light

  // Matched-filter signal-to-noise of an observer who knows feature, background and noise exactly
  // and reads the raw sensor: sqrt(sum of whitened difference^2). Shot, read and quantisation noise
  // count as white; the ferrule's grain and lines as Gaussian noise of their known spectrum.
  double snr = 0;
  double in_view_fraction = 1.0;  // of the outline
  std::vector<int> touches;       // ids of features it blends with
};

enum class TrueVerdict { kPass, kFail };
enum class Gradable { kYes, kNo, kUncertain };

struct SceneTruth {
  // Geometry; empty when there is no fibre.
  std::optional<Ellipse> cladding;
  std::optional<Ellipse> core;
  cv::Point2d centre_px;
  cv::Matx22d um_from_px = cv::Matx22d::eye();
  double um_per_px = 1.0;   // sqrt(|det um_from_px|)
  double blur_fwhm_um = 0;  // of optics and pixel at the face's centre
  std::vector<TrueFeature> features;

  std::string limits_id;
  TrueVerdict face_verdict = TrueVerdict::kPass;  // of the face itself, seen or not
  std::vector<std::string> broken;                // rules of the renderer's own table
  bool borderline = false;  // an honest grader could say either; never counted against one
  std::vector<std::string> borderline_because;
  Gradable gradable = Gradable::kYes;
  std::vector<std::string> ungradable_because;

  // What a grader may answer: "pass", "fail", "ungradable". The first is the best answer.
  std::vector<std::string> acceptable;
};

struct RenderedScene {
  cv::Mat picture;  // CV_8UC1 or CV_8UC3 (blue, green, red): as a reader of the file sees it
  SceneTruth truth;
  std::string file_bytes;  // JPEG bytes; empty for PNG until EncodePicture makes them
};

// Errors: kBadOption (the description's problem, in words).
[[nodiscard]] Result<RenderedScene> RenderScene(const SceneDescription& scene);

// The file's bytes: the JPEG that RenderScene made, or a PNG of the picture.
[[nodiscard]] Result<std::string> EncodePicture(const RenderedScene& rendered);
[[nodiscard]] std::string PictureExtension(const SceneDescription& scene);  // ".png" or ".jpg"

// How often random scenes are of which sort. Weights; they need not add up to 1.
struct RandomSceneOptions {
  std::string limits_id;   // empty: any of the four tables
  std::string camera;      // a name of CameraNames(); empty: any
  std::string preset;      // a name of PresetNames(); empty: any, by the weights
  double clean = 3;        // nothing on the face, or nothing that counts
  double allowed = 3;      // features that every rule allows
  double broken = 4;       // one rule broken, each rule in turn
  double dirty = 1.5;      // much of everything
  double ungradable = 1;   // defocus, cut off, no fibre, saturated, too small, too dark
  double easy_camera = 0;  // chance that the camera has none of its faults
};

// A scene of one's own from a seed: same seed and options, same scene.
// Errors: kBadOption for a name that is not known.
[[nodiscard]] Result<SceneDescription> RandomScene(std::uint64_t seed,
                                                   const RandomSceneOptions& options = {});

// What a cleaning did to a feature. Written to pair files; do not rename.
enum class TrueFate { kStays, kGone, kMoved, kNew };

struct FeatureTruth {
  TrueFate fate = TrueFate::kStays;
  std::optional<std::size_t> before;  // index into before.features
  std::optional<std::size_t> after;
};

// One face before and after a cleaning: the same glass, grain and damage, other hands, other dirt.
struct ScenePair {
  SceneDescription before;
  SceneDescription after;
  bool same_camera = true;
  std::vector<FeatureTruth> fates;
};

// A random face, photographed, cleaned, and photographed again, often with another camera.
// Scratches, pits, chips and cracks stay; what can be removed mostly goes, or is moved or smeared;
// some is new. Errors: kBadOption for a name that is not known.
[[nodiscard]] Result<ScenePair> RandomPair(std::uint64_t seed,
                                           const RandomSceneOptions& options = {});

// Schema "endgrade.pair/1": fates by the features' ids in the two truth files.
[[nodiscard]] std::string PairJson(const ScenePair& pair);

[[nodiscard]] std::vector<std::string> CameraNames();
[[nodiscard]] std::vector<std::string> PresetNames();
// Errors: kBadOption lists the names there are.
[[nodiscard]] Result<SceneCamera> FindCamera(const std::string& name);

// Scene files: TOML or JSON with the same keys. Errors: kNotFound, kBadOption with file and key.
[[nodiscard]] Result<SceneDescription> ReadScene(const std::filesystem::path& path);
[[nodiscard]] std::string SceneJson(const SceneDescription& scene);

// Schema "endgrade.truth/1": the truth and the scene that it is of. Not measured is null.
[[nodiscard]] std::string TruthJson(const SceneDescription& scene, const SceneTruth& truth);

}  // namespace endgrade
