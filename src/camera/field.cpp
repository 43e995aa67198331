#include "endgrade/camera.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace endgrade {
namespace {

constexpr int kAroundPx = 4;     // beyond the zones' margin, for cells at its border
constexpr int kFlatStepPx = 16;  // the even field is smooth: computed this far apart
constexpr double kLeastGain = 0.2;
constexpr double kMostGain = 3.0;

// Divided dirt is not there when what is left of its shape is more than this share of it, and more
// than this many times the noise.
constexpr double kGoneShare = 0.5;
constexpr double kGoneSigma = 4.0;
constexpr double kShownShare = 0.5;         // of what matters, that must show beside what is hidden
constexpr double kMostHiddenShare = 0.005;  // of a zone: as much as may lie outside the picture
constexpr double kCorrelated = 3.0;         // neighbouring cells share grain and blur: on the noise

cv::Rect Around(const ZoneMap& zones, double margin_um, double um_per_px, cv::Size picture) {
  const int margin = static_cast<int>(std::ceil(margin_um / um_per_px)) + kAroundPx;
  const cv::Rect& roi = zones.roi_px;
  return cv::Rect(roi.x - margin, roi.y - margin, roi.width + 2 * margin, roi.height + 2 * margin) &
         cv::Rect({0, 0}, picture);
}

cv::Mat FlatGain(const FlatField& flat, cv::Size picture, const cv::Rect& roi) {
  const cv::Size coarse((roi.width - 1) / kFlatStepPx + 2, (roi.height - 1) / kFlatStepPx + 2);
  cv::Mat values(coarse, CV_32FC1);
  for (int y = 0; y < coarse.height; ++y) {
    for (int x = 0; x < coarse.width; ++x) {
      const cv::Point2d p(roi.x + x * kFlatStepPx, roi.y + y * kFlatStepPx);
      values.at<float>(y, x) =
          static_cast<float>(std::clamp(flat.At(p, picture), kLeastGain, kMostGain));
    }
  }
  // Straight lines between the coarse values, which stand at whole multiples of the step.
  const double step = 1.0 / kFlatStepPx;
  const cv::Matx23d back(step, 0, 0, 0, step, 0);
  cv::Mat gain;
  cv::warpAffine(values,
                 gain,
                 back,
                 roi.size(),
                 cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                 cv::BORDER_REPLICATE);
  return gain;
}

// Transmission of divided dirt at a pixel; 1 outside its grid.
double TransmissionAt(const FixedDirt& dirt, cv::Point2d p_px) {
  const double x = (p_px.x - dirt.grid_origin_px.x) / dirt.grid_step_px;
  const double y = (p_px.y - dirt.grid_origin_px.y) / dirt.grid_step_px;
  const int x0 = cvFloor(x);
  const int y0 = cvFloor(y);
  const auto value = [&](int column, int row) {
    if (column < 0 || row < 0 || column >= dirt.grid.cols || row >= dirt.grid.rows) return 1.0;
    return static_cast<double>(dirt.grid.at<float>(row, column));
  };
  const double fx = x - x0;
  const double fy = y - y0;
  const double top = (1 - fx) * value(x0, y0) + fx * value(x0 + 1, y0);
  const double below = (1 - fx) * value(x0, y0 + 1) + fx * value(x0 + 1, y0 + 1);
  return (1 - fy) * top + fy * below;
}

cv::Rect GridBox(const FixedDirt& dirt) {
  const double step = dirt.grid_step_px;
  const int left = cvFloor(dirt.grid_origin_px.x - step);
  const int top = cvFloor(dirt.grid_origin_px.y - step);
  return {
      left, top, cvCeil((dirt.grid.cols + 1) * step) + 1, cvCeil((dirt.grid.rows + 1) * step) + 1};
}

void Multiply(const FixedDirt& dirt, CameraField* field) {
  const cv::Rect box = GridBox(dirt) & field->roi_px;
  for (int y = box.y; y < box.br().y; ++y) {
    for (int x = box.x; x < box.br().x; ++x) {
      field->gain.at<float>(y - field->roi_px.y, x - field->roi_px.x) *=
          static_cast<float>(TransmissionAt(dirt, cv::Point2d(x, y)));
    }
  }
}

void Hide(const FixedDirt& dirt, const cv::Rect& roi, cv::Mat* hidden) {
  std::vector<cv::Point> outline = dirt.outline_px;
  for (cv::Point& p : outline) p -= roi.tl();
  cv::fillConvexPoly(*hidden, outline, cv::Scalar(255));
}

// How much of the dirt's shape is left after division, over the whole of it: -1 where it is gone.
struct Left {
  double share = 0;
  double sigma = 0;
};

template <typename Visit>
void ForEachCell(const ContrastMap& map, const cv::Rect& box_px, const Visit& visit) {
  const cv::Point2d from = map.CellFromPx(cv::Point2d(box_px.tl()));
  const cv::Point2d to = map.CellFromPx(cv::Point2d(box_px.br()));
  for (int y = std::max(0, cvFloor(from.y)); y < std::min(map.level.rows, cvCeil(to.y)); ++y) {
    for (int x = std::max(0, cvFloor(from.x)); x < std::min(map.level.cols, cvCeil(to.x)); ++x) {
      visit(cv::Point(x, y));
    }
  }
}

// By the median over its cells: a defect that lies in a part of the shadow does not count.
Left LeftOf(const FixedDirt& dirt, const ContrastMap& map) {
  std::vector<double> shares;
  ForEachCell(map, GridBox(dirt), [&](cv::Point cell) {
    if (static_cast<double>(map.radius_um.at<float>(cell)) >= map.outer_um) return;
    const double shape = TransmissionAt(dirt, map.PxFromCell(cv::Point2d(cell))) - 1;
    const auto background = static_cast<double>(map.background.at<float>(cell));
    if (std::abs(shape) < 0.3 * std::abs(dirt.transmission - 1) || background < 1) return;
    shares.push_back(static_cast<double>(map.residual.at<float>(cell)) / background / shape);
  });
  if (shares.empty()) return {};
  const auto median_of = [](std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
  };
  const double median = median_of(shares);
  const auto count = static_cast<double>(shares.size());
  for (double& share : shares) share = std::abs(share - median);
  // 1.25: a median's standard error over a mean's, for a Gaussian.
  return {median, kCorrelated * 1.25 * 1.4826 * median_of(shares) / std::sqrt(count)};
}

std::string Rounded(double value, int decimals) {
  char text[48];
  std::snprintf(text, sizeof text, "%.*f", decimals, value);
  return text;
}

std::string PlaceWords(cv::Point2d p_px) {
  return "at pixel " + Rounded(p_px.x, 0) + ", " + Rounded(p_px.y, 0);
}

// Inside the zones: the innermost that it touches; -1 when it touches none.
int ZoneOf(const FixedDirt& dirt, const Scale& scale, const Limits& limits) {
  const cv::Point2d centre = scale.ToUm(dirt.centre_px);
  double nearest =
      std::max(0.0, std::hypot(centre.x, centre.y) - 0.5 * dirt.diameter_px * scale.um_per_px);
  for (const cv::Point& p : dirt.outline_px) {
    const cv::Point2d um = scale.ToUm(cv::Point2d(p));
    nearest = std::min(nearest, std::hypot(um.x, um.y));
  }
  return ZoneAt(limits, nearest);
}

// What is hidden of each zone: its area, and the largest circle that fits into one piece of it.
struct HiddenPart {
  double area_px = 0;
  double widest_px = 0;
  cv::Point2d at_px;
};

std::vector<HiddenPart> HiddenByZone(const cv::Mat& hidden,
                                     const cv::Rect& roi,
                                     const ZoneMap& zones) {
  std::vector<HiddenPart> parts(zones.in_view_fraction.size());
  cv::Mat padded;
  cv::copyMakeBorder(hidden, padded, 1, 1, 1, 1, cv::BORDER_CONSTANT, cv::Scalar(0));
  cv::Mat distance;  // to the nearest pixel that is seen
  cv::distanceTransform(padded, distance, cv::DIST_L2, cv::DIST_MASK_5);
  for (int y = 0; y < zones.labels.rows; ++y) {
    for (int x = 0; x < zones.labels.cols; ++x) {
      const std::uint8_t label = zones.labels.at<std::uint8_t>(y, x);
      const cv::Point p = cv::Point(x, y) + zones.roi_px.tl();
      if (label == ZoneMap::kOutside || !roi.contains(p)) continue;
      const cv::Point there = p - roi.tl();
      if (!hidden.at<std::uint8_t>(there)) continue;
      HiddenPart& part = parts[label];
      part.area_px += 1;
      // Half a pixel more than from centre to centre, on either side.
      const auto away = static_cast<double>(distance.at<float>(there + cv::Point(1, 1)));
      const double width = 2 * away - 1;
      if (width <= part.widest_px) continue;
      part.widest_px = width;
      part.at_px = cv::Point2d(p);
    }
  }
  return parts;
}

std::optional<double> LeastThatMatters(const Limits& limits, std::size_t zone) {
  std::optional<double> least;
  for (const FeatureKind kind : {FeatureKind::kDefect, FeatureKind::kScratch}) {
    const auto must = limits.MustSee(zone, kind);
    if (must) least = std::min(*must, least.value_or(*must));
  }
  return least;
}

void NoteHidden(const std::vector<HiddenPart>& parts,
                const Scale& scale,
                const Limits& limits,
                ZoneMap* zones,
                CameraUse* use) {
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const HiddenPart& part = parts[i];
    if (part.area_px <= 0) continue;
    const Zone& zone = limits.zones[i];
    const double radius2 = 0.25 * (zone.outer_diameter_um * zone.outer_diameter_um -
                                   zone.inner_diameter_um * zone.inner_diameter_um);
    const double area_px = CV_PI * radius2 / (scale.um_per_px * scale.um_per_px);
    double& in_view = zones->in_view_fraction[i];
    in_view = std::max(0.0, in_view - part.area_px / area_px);
    const auto least = LeastThatMatters(limits, i);
    if (!least) continue;
    const double widest_um = part.widest_px * scale.um_per_px;
    const double share = part.area_px / area_px;
    if (widest_um < kShownShare * *least && share < kMostHiddenShare) continue;
    use->problems.push_back(
        {"optics_dirt",
         "Dirt on the microscope's own optics hides " + Rounded(100 * share, 1) + " % of zone " +
             zone.name + ", up to " + Rounded(widest_um, 1) + " um across " +
             PlaceWords(part.at_px) + ", where " + Rounded(*least, 1) +
             " um matters: clean the optics and learn the camera again, or move the fibre in the "
             "picture, and take it again."});
  }
}

}  // namespace

std::vector<std::size_t> DirtThatIsGone(const CameraProfile& profile, const ContrastMap& map) {
  std::vector<std::size_t> gone;
  if (map.level.empty()) return gone;
  for (std::size_t i = 0; i < profile.dirt.size(); ++i) {
    if (!profile.dirt[i].divided) continue;
    const Left left = LeftOf(profile.dirt[i], map);
    if (std::abs(left.share) > std::max(kGoneShare, kGoneSigma * left.sigma)) gone.push_back(i);
  }
  return gone;
}

CameraField FieldOf(const CameraProfile& profile,
                    const ZoneMap& zones,
                    double margin_um,
                    const std::vector<std::size_t>& gone) {
  CameraField field;
  field.roi_px = Around(zones, margin_um, profile.um_per_px.value, profile.picture_px);
  if (field.roi_px.empty()) return field;
  field.gain = profile.flat ? FlatGain(*profile.flat, profile.picture_px, field.roi_px)
                            : cv::Mat(field.roi_px.size(), CV_32FC1, cv::Scalar(1));
  field.hidden = cv::Mat::zeros(field.roi_px.size(), CV_8UC1);
  for (std::size_t i = 0; i < profile.dirt.size(); ++i) {
    const FixedDirt& dirt = profile.dirt[i];
    if (!dirt.divided) {
      Hide(dirt, field.roi_px, &field.hidden);
    } else if (std::find(gone.begin(), gone.end(), i) == gone.end()) {
      Multiply(dirt, &field);
    }
  }
  return field;
}

CameraUse UseCamera(const CameraProfile& profile,
                    const CameraField& field,
                    const Scale& scale,
                    const Limits& limits,
                    const std::vector<std::size_t>& gone,
                    ZoneMap* zones) {
  CameraUse use;
  use.id = profile.id;
  use.sha256 = profile.sha256;
  use.flat_field = profile.flat.has_value();
  if (field.roi_px.empty()) return use;
  for (std::size_t i = 0; i < profile.dirt.size(); ++i) {
    const FixedDirt& dirt = profile.dirt[i];
    const int zone = ZoneOf(dirt, scale, limits);
    if (zone < 0) continue;
    if (std::find(gone.begin(), gone.end(), i) != gone.end()) {
      use.warnings.push_back(
          {"camera_changed",
           "The camera profile has a soft shadow " + PlaceWords(dirt.centre_px) +
               " that is not there as it was: nothing was taken out there. Learn the camera "
               "again."});
      continue;
    }
    use.removed.push_back({dirt.divided,
                           dirt.centre_px,
                           dirt.diameter_px * scale.um_per_px,
                           dirt.transmission,
                           zone});
  }
  NoteHidden(HiddenByZone(field.hidden, field.roi_px, *zones), scale, limits, zones, &use);
  return use;
}

void MarkBesideHidden(const ContrastMap& contrast, std::vector<Feature>* features) {
  if (contrast.valid.empty()) return;
  const int reach = 2 + static_cast<int>(std::ceil(contrast.blur_sigma_cells));
  cv::Mat near;  // 0 on and beside hidden cells
  cv::erode(contrast.valid,
            near,
            cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * reach + 1, 2 * reach + 1}));
  for (Feature& feature : *features) {
    for (std::size_t i = 0; i < feature.outline_px.size() && !feature.cut_by_frame; ++i) {
      // Along the outline, a cell at a time.
      const cv::Point2d a = contrast.CellFromPx(feature.outline_px[i]);
      const cv::Point2d b =
          contrast.CellFromPx(feature.outline_px[(i + 1) % feature.outline_px.size()]);
      const int steps = 1 + cvCeil(std::hypot(b.x - a.x, b.y - a.y));
      for (int s = 0; s < steps; ++s) {
        const cv::Point2d p = a + (b - a) * (static_cast<double>(s) / steps);
        const int x = std::clamp(cvRound(p.x), 0, near.cols - 1);
        const int y = std::clamp(cvRound(p.y), 0, near.rows - 1);
        if (near.at<std::uint8_t>(y, x) == 0) feature.cut_by_frame = true;
      }
    }
  }
}

}  // namespace endgrade
