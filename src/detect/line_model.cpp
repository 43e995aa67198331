#include "detect/line_model.h"

#include <algorithm>
#include <cmath>

namespace endgrade {
namespace {

constexpr int kPiece = 20;  // half cells

// Calls visit(cell's value, piece, model at unit strength) for each cell of the band.
template <typename Visit>
void OverBand(const Band& band, const LineModel& model, cv::Mat* residual, Visit visit) {
  for (int y = 0; y < band.box.height; ++y) {
    const auto* places = band.place.ptr<int>(y);
    const auto* distances = band.distance.ptr<float>(y);
    auto* values = residual->ptr<float>(band.box.y + y) + band.box.x;
    for (int x = 0; x < band.box.width; ++x) {
      if (places[x] < 0) continue;
      visit(values[x],
            static_cast<size_t>(places[x] / kPiece),
            model.profile.ModelAt(static_cast<double>(distances[x]), model.blur));
    }
  }
}

}  // namespace

void TakeOutLine(const Band& band, LineModel* model, cv::Mat* residual) {
  const size_t num_pieces = band.num_places / kPiece + 1;
  std::vector<double> energy(num_pieces, 1e-9);
  std::vector<double> overlap(num_pieces, 0.0);
  const double bound = 2.0 * std::abs(model->profile.peak);
  OverBand(band, *model, residual, [&](float value, size_t piece, double bar) {
    energy[piece] += bar * bar;
    overlap[piece] += bar * std::clamp(static_cast<double>(value), -bound, bound);
  });
  model->strength.resize(num_pieces);
  for (size_t i = 0; i < num_pieces; ++i) {
    model->strength[i] = std::clamp(overlap[i] / energy[i], 0.0, 1.6);
  }
  OverBand(band, *model, residual, [&](float& value, size_t piece, double bar) {
    value -= static_cast<float>(model->strength[piece] * bar);
  });
}

void PutBackLine(const Band& band, const LineModel& model, cv::Mat* residual) {
  OverBand(band, model, residual, [&](float& value, size_t piece, double bar) {
    value += static_cast<float>(model.strength[piece] * bar);
  });
}

}  // namespace endgrade
