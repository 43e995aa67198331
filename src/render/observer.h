// An ideal observer: how well could anybody tell that a feature is there, from the raw sensor?
#pragma once

#include "endgrade/scene.h"
#include "render/canvas.h"
#include "render/optics.h"
#include "render/sensor.h"

#include <opencv2/core.hpp>

namespace endgrade::render {

struct Sighting {
  double snr = 0;
  double contrast_imaged = 0;
};

// The matched filter's signal-to-noise is sqrt(sum (d / sigma)^2) over pixels in white noise, where
// d is the mean picture with the feature minus the one without. On textured ground the difference
// is first whitened by 1 / sqrt(1 + texture / white) in the frequency domain, with the texture's
// known spectrum after optics and pixel: the texture is noise to an observer who has not seen this
// very face clean. Pixels at full white carry nothing.
class Observer {
 public:
  Observer(const SceneDescription& scene,
           const Face& face,
           const Canvas& canvas,
           const cv::Mat& mean_e,
           const cv::Mat& electrons_per_light);

  [[nodiscard]] Sighting Look(const Stamp& stamp) const;

  // The same of a disc that is not in the scene: dark by `contrast`, at a place of the face.
  // Empty picture part: 0.
  [[nodiscard]] double DiscSnr(cv::Point2d centre_um, double diameter_um, double contrast) const;

 private:
  struct Sums {
    double snr2 = 0;
    double dark = 0;
    double bright = 0;
  };
  void LookAtBlock(const Stamp& stamp, const cv::Rect& block_px, Sums& sums) const;
  [[nodiscard]] cv::Mat Difference(const Stamp& stamp,
                                   const cv::Rect& outer_px,
                                   const Optics& optics) const;
  void Whiten(cv::Mat& difference, double mean_e, double white_e2, bool ferrule) const;
  [[nodiscard]] bool OnGlass(cv::Point2d p_px) const;

  const SceneDescription& scene_;
  const Face& face_;
  const Canvas& canvas_;
  const cv::Mat& mean_e_;
  const cv::Mat& electrons_per_light_;
  Optics optics_;
  PixelNoise noise_;
  bool glass_textured_;
  bool ferrule_textured_;
};

}  // namespace endgrade::render
