#include "lay/hide_blocks.h"

namespace endgrade {

void HideBlocks(const cv::Mat& hidden, ZoneMap* zones) {
  zones->hidden = zones->hidden.empty() ? hidden : zones->hidden | hidden;
  std::vector<double> all(zones->in_view_fraction.size(), 0.0);
  std::vector<double> seen(all.size(), 0.0);
  for (int y = 0; y < zones->labels.rows; ++y) {
    auto* label = zones->labels.ptr<std::uint8_t>(y);
    for (int x = 0; x < zones->labels.cols; ++x) {
      if (label[x] == ZoneMap::kOutside) continue;
      all[label[x]] += 1;
      if (zones->IsHidden(cv::Point2d(x + zones->roi_px.x, y + zones->roi_px.y))) {
        label[x] = ZoneMap::kOutside;
      } else {
        seen[label[x]] += 1;
      }
    }
  }
  for (size_t i = 0; i < all.size(); ++i) {
    if (all[i] > 0) zones->in_view_fraction[i] *= seen[i] / all[i];
  }
}

}  // namespace endgrade
