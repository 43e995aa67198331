#include "camera/fits.h"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <array>
#include <cmath>

namespace endgrade::camera {
namespace {

constexpr int kMostGridCells = 2'000'000;
constexpr int kLeastPositions = 3;
constexpr double kAgreeSigma = 2.0;  // of a position's noise, that it must show
constexpr double kContradictSigma = 2.5;
constexpr double kAgreeDepth = 0.4;    // of its depth, that a position must show
constexpr double kCandidate = 4.5;     // multiples of the response's noise: worth a closer look
constexpr double kThreshold = 5.5;     // multiples of the pictures' own noise, all together
constexpr double kLeastDepth = 0.010;  // fainter dirt is found on no face
constexpr double kBorderShare = 0.4;   // of its depth, where a piece's region ends
constexpr double kFringe = 0.010;      // of the light: a hidden piece ends where no more is missing
constexpr int kTileCells = 64;         // over which noise is taken as one
constexpr double kTilePerSigma = 14;
constexpr std::size_t kLeastTileCells = 100;
constexpr std::size_t kLeastSquares = 20;
constexpr float kUnknown = 1e6F;
constexpr std::array<double, 5> kScales = {0.8, 1.6, 3.2, 6.4, 12.8};  // sigma, grid cells
constexpr double kSurround = 2.5;

// What may be divided out: shallow, and so much softer at its edge than the camera's own blur that
// nothing in focus on a face could look so.
constexpr double kMostDividedDepth = 0.2;
constexpr double kSoftOverBlur = 2.0;
// Or so faint and wide that what is divided out could hide nothing that matters.
constexpr double kFaintDepth = 0.05;
constexpr double kFaintOverBlur = 10.0;
// Beside dirt, what is left of it swings to the other side: below this share it is no dirt.
constexpr double kHaloShare = 0.3;
constexpr int kMostGridSide = 40;    // values along a side of a piece's grid
constexpr double kDrawnSnr = 6.0;    // of a smoothed cell, to draw a piece's shape from it
constexpr double kEdgeScale = 0.15;  // of its radius: smoothing under which its border is looked at

// What stays at the same pixels, over the brightness of the clean face, with its uncertainty.
struct FixedPattern {
  int step_px = 1;
  cv::Mat mean;    // CV_32FC1
  cv::Mat sigma;   // CV_32FC1, kUnknown where too few positions see
  cv::Mat weight;  // CV_32FC1: 1 / sigma^2, 0 where unknown
  // CV_32FC1: half the difference between one half of the positions and the other, in which all
  // that is fixed cancels: as noisy as `mean`, and nothing but noise.
  cv::Mat half;
};

cv::Point2d PxOf(const FixedPattern& pattern, cv::Point2d cell) {
  return {(cell.x + 0.5) * pattern.step_px - 0.5, (cell.y + 0.5) * pattern.step_px - 0.5};
}

struct Seen {
  float value = 0;
  float noise = 0;
  float half = 0;  // of several: half the difference between every other one and the rest
};

std::optional<Seen> At(const CameraSample& sample, cv::Point2d p_px) {
  const double half = 0.5 * (sample.cell_px - 1);
  const int x = cvRound((p_px.x - sample.roi_px.x - half) / sample.cell_px);
  const int y = cvRound((p_px.y - sample.roi_px.y - half) / sample.cell_px);
  if (x < 0 || y < 0 || x >= sample.ratio.cols || y >= sample.ratio.rows) return std::nullopt;
  const float value = sample.ratio.at<float>(y, x);
  if (std::isnan(value)) return std::nullopt;
  return Seen{value, std::max(1e-4F, sample.ratio_noise.at<float>(y, x)), 0};
}

// By position: the weighted mean of its pictures at one place.
std::vector<Seen> ByPosition(const std::vector<CameraSample>& samples,
                             const std::vector<int>& positions,
                             int num_positions,
                             cv::Point2d p_px) {
  std::vector<double> sums(static_cast<std::size_t>(num_positions), 0.0);
  std::vector<double> weights(static_cast<std::size_t>(num_positions), 0.0);
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const auto seen = At(samples[i], p_px);
    if (!seen) continue;
    const auto noise = static_cast<double>(seen->noise);
    const auto place = static_cast<std::size_t>(positions[i]);
    sums[place] += static_cast<double>(seen->value) / (noise * noise);
    weights[place] += 1 / (noise * noise);
  }
  std::vector<Seen> seen;
  for (std::size_t k = 0; k < sums.size(); ++k) {
    if (weights[k] <= 0) continue;
    seen.push_back(
        {static_cast<float>(sums[k] / weights[k]), static_cast<float>(1 / std::sqrt(weights[k]))});
  }
  return seen;
}

// Inverse variances, none above a third of them all: no single picture decides, however clean.
std::vector<double> CappedWeights(const std::vector<double>& noises) {
  std::vector<double> weights;
  for (const double noise : noises) weights.push_back(1 / (noise * noise));
  for (int pass = 0; pass < 20; ++pass) {
    double total = 0;
    for (const double w : weights) total += w;
    bool capped = false;
    for (double& w : weights) {
      if (w <= 1.001 * total / 3) continue;
      w = total / 3;
      capped = true;
    }
    if (!capped) break;
  }
  return weights;
}

double WeightedMedian(const std::vector<Seen>& seen, const std::vector<double>& weights) {
  std::vector<std::pair<float, double>> sorted;
  double total = 0;
  for (std::size_t i = 0; i < seen.size(); ++i) {
    sorted.emplace_back(seen[i].value, weights[i]);
    total += weights[i];
  }
  std::sort(sorted.begin(), sorted.end());
  double sum = 0;
  float middle = 0;
  for (const auto& [value, weight] : sorted) {
    middle = value;
    sum += weight;
    if (2 * sum >= total) break;
  }
  return static_cast<double>(middle);
}

// The mean of those that agree with the median; dirt on a face is at a pixel only once.
std::optional<Seen> Agreed(const std::vector<Seen>& seen) {
  if (static_cast<int>(seen.size()) < kLeastPositions) return std::nullopt;
  std::vector<double> noises;
  for (const Seen& s : seen) noises.push_back(static_cast<double>(s.noise));
  const std::vector<double> weights = CappedWeights(noises);
  const double median = WeightedMedian(seen, weights);
  double total = 0;
  double variance = 0;
  for (std::size_t i = 0; i < seen.size(); ++i) {
    total += weights[i];
    variance += weights[i] * weights[i] * noises[i] * noises[i];
  }
  const double doubt = 1.25 * std::sqrt(variance) / total;  // of a median
  double sum = 0;
  double kept = 0;
  double halves[2] = {0, 0};
  double half_weights[2] = {0, 0};
  std::size_t next = 0;
  int num_kept = 0;
  variance = 0;
  for (std::size_t i = 0; i < seen.size(); ++i) {
    if (std::abs(static_cast<double>(seen[i].value) - median) > 3 * std::hypot(noises[i], doubt)) {
      continue;
    }
    sum += weights[i] * static_cast<double>(seen[i].value);
    kept += weights[i];
    variance += weights[i] * weights[i] * noises[i] * noises[i];
    halves[next] += weights[i] * static_cast<double>(seen[i].value);
    half_weights[next] += weights[i];
    next = 1 - next;
    ++num_kept;
  }
  if (num_kept < kLeastPositions) return std::nullopt;
  const double apart = 0.5 * (halves[0] / half_weights[0] - halves[1] / half_weights[1]);
  return Seen{static_cast<float>(sum / kept),
              static_cast<float>(std::sqrt(variance) / kept),
              static_cast<float>(apart)};
}

FixedPattern Combine(const std::vector<CameraSample>& samples,
                     const std::vector<int>& positions,
                     int num_positions) {
  FixedPattern pattern;
  const cv::Size picture = samples.front().picture_px;
  cv::Rect around = samples.front().roi_px;
  for (const CameraSample& sample : samples) {
    pattern.step_px = std::max(pattern.step_px, sample.cell_px);
    around |= sample.roi_px;
  }
  while (picture.area() / (pattern.step_px * pattern.step_px) > kMostGridCells) ++pattern.step_px;
  const cv::Size size(picture.width / pattern.step_px, picture.height / pattern.step_px);
  pattern.mean = cv::Mat::zeros(size, CV_32FC1);
  pattern.sigma = cv::Mat(size, CV_32FC1, cv::Scalar(kUnknown));
  pattern.weight = cv::Mat::zeros(size, CV_32FC1);
  pattern.half = cv::Mat::zeros(size, CV_32FC1);
  for (int y = around.y / pattern.step_px;
       y < std::min(size.height, around.br().y / pattern.step_px + 1);
       ++y) {
    for (int x = around.x / pattern.step_px;
         x < std::min(size.width, around.br().x / pattern.step_px + 1);
         ++x) {
      const auto agreed =
          Agreed(ByPosition(samples, positions, num_positions, PxOf(pattern, cv::Point2d(x, y))));
      if (!agreed) continue;
      pattern.mean.at<float>(y, x) = agreed->value;
      pattern.sigma.at<float>(y, x) = agreed->noise;
      pattern.half.at<float>(y, x) = agreed->half;
      pattern.weight.at<float>(y, x) = 1 / (agreed->noise * agreed->noise);
    }
  }
  return pattern;
}

cv::Mat Blur(const cv::Mat& image, double sigma) {
  cv::Mat out;
  const int reach = std::max(1, static_cast<int>(std::ceil(3 * sigma)));
  const cv::Size window(2 * reach + 1, 2 * reach + 1);
  cv::GaussianBlur(image, out, window, sigma, sigma, cv::BORDER_CONSTANT);
  return out;
}

float MedianOfPositive(std::vector<float> values) {
  if (values.empty()) return 0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// One scale: the pattern under a Gaussian, and how far it stands out of its noise.
struct Layer {
  double sigma = 1;
  cv::Mat smooth;
  cv::Mat snr;    // of smooth less its surround, signed; 0 where unknown
  cv::Mat noise;  // of smooth
};

// How much noisier the ratio is than if cells were independent: grain is not, and a place may lie
// on the ferrule's grain in most pictures or on glass. Robust, tile by tile, and no less than
// overall.
cv::Mat NoiseUnit(const cv::Mat& ratio, const cv::Mat& weight, double sigma) {
  const auto sigma_in = [&](const cv::Rect& tile, int stride) {
    std::vector<float> sizes;
    for (int y = tile.y; y < tile.br().y; ++y) {
      for (int x = tile.x + (3 * y) % stride; x < tile.br().x; x += stride) {
        if (weight.at<float>(y, x) > 0) sizes.push_back(std::abs(ratio.at<float>(y, x)));
      }
    }
    if (sizes.size() < kLeastTileCells) return 0.0F;
    return 1.4826F * MedianOfPositive(std::move(sizes));
  };
  const cv::Rect whole({0, 0}, ratio.size());
  // A Gaussian of sigma s averages over 4 pi s^2 independent cells.
  const auto least = static_cast<float>(1 / std::sqrt(4 * CV_PI * sigma * sigma));
  // Much wider than what this scale is matched to.
  const int side = std::max(kTileCells, 2 * cvRound(kTilePerSigma * sigma / 2));
  const int step = side / 2;
  cv::Mat tiles(ratio.rows / step + 1, ratio.cols / step + 1, CV_32FC1);
  for (int y = 0; y < tiles.rows; ++y) {
    for (int x = 0; x < tiles.cols; ++x) {
      const cv::Rect tile((x * 2 - 1) * step / 2, (y * 2 - 1) * step / 2, side, side);
      tiles.at<float>(y, x) = std::max(least, sigma_in(tile & whole, 2));
    }
  }
  cv::Mat unit;
  cv::resize(tiles, unit, cv::Size(tiles.cols * step, tiles.rows * step), 0, 0, cv::INTER_LINEAR);
  return unit(whole).clone();
}

Layer MakeLayer(const FixedPattern& pattern, double sigma) {
  Layer layer;
  layer.sigma = sigma;
  const auto smooth = [&](const cv::Mat& image, double s) {
    cv::Mat sum;
    cv::multiply(image, pattern.weight, sum);
    sum = Blur(sum, s);
    cv::divide(sum, Blur(pattern.weight, s) + 1e-6F, sum);
    return sum;
  };
  layer.smooth = smooth(pattern.mean, sigma);
  const cv::Mat band = layer.smooth - smooth(pattern.mean, kSurround * sigma);
  const cv::Mat noise = smooth(pattern.half, sigma) - smooth(pattern.half, kSurround * sigma);
  cv::Mat expected;  // of a cell
  cv::sqrt(1.0F / (Blur(pattern.weight, sigma) + 1e-6F), expected);
  const cv::Mat unit = NoiseUnit(noise / expected, pattern.weight, sigma);
  cv::multiply(expected, unit, layer.noise);
  cv::divide(band, layer.noise, layer.snr);
  layer.snr.setTo(0.0F, pattern.weight == 0.0F);
  return layer;
}

struct Peak {
  std::size_t layer;
  cv::Point cell;
  float snr;
};

std::vector<Peak> FindPeaks(const std::vector<Layer>& layers) {
  std::vector<Peak> peaks;
  for (std::size_t i = 0; i < layers.size(); ++i) {
    const cv::Mat& snr = layers[i].snr;
    for (int y = 1; y + 1 < snr.rows; ++y) {
      for (int x = 1; x + 1 < snr.cols; ++x) {
        const float here = std::abs(snr.at<float>(y, x));
        if (static_cast<double>(here) < kCandidate ||
            static_cast<double>(std::abs(layers[i].smooth.at<float>(y, x))) < kLeastDepth) {
          continue;
        }
        bool highest = true;
        for (int dy = -1; dy <= 1 && highest; ++dy) {
          for (int dx = -1; dx <= 1; ++dx) {
            highest = highest && std::abs(snr.at<float>(y + dy, x + dx)) <= here;
          }
        }
        if (highest) peaks.push_back({i, {x, y}, here});
      }
    }
  }
  std::stable_sort(
      peaks.begin(), peaks.end(), [](const Peak& a, const Peak& b) { return a.snr > b.snr; });
  return peaks;
}

// Connected cells from `from` on for which `belongs` says yes.
template <typename Belongs>
std::vector<cv::Point> Grow(const cv::Size& size,
                            const std::vector<cv::Point>& from,
                            const Belongs& belongs) {
  cv::Mat visited = cv::Mat::zeros(size, CV_8UC1);
  std::vector<cv::Point> cells = from;
  for (const cv::Point& cell : cells) visited.at<uchar>(cell) = 255;
  const cv::Rect whole({0, 0}, size);
  for (std::size_t next = 0; next < cells.size(); ++next) {
    for (const cv::Point& side :
         {cv::Point(1, 0), cv::Point(-1, 0), cv::Point(0, 1), cv::Point(0, -1)}) {
      const cv::Point beside = cells[next] + side;
      if (!whole.contains(beside) || visited.at<uchar>(beside) || !belongs(beside)) continue;
      visited.at<uchar>(beside) = 255;
      cells.push_back(beside);
    }
  }
  return cells;
}

struct Piece {
  std::vector<cv::Point> cells;
  cv::Point2d centre;  // cells
  double radius = 0;   // cells, of the circle of its area
  double depth = 0;    // signed, over the clean face
};

Piece Describe(std::vector<cv::Point> cells, double depth) {
  Piece piece;
  for (const cv::Point& cell : cells) piece.centre += cv::Point2d(cell);
  piece.centre *= 1.0 / static_cast<double>(cells.size());
  piece.radius = std::sqrt(static_cast<double>(cells.size()) / CV_PI);
  piece.depth = depth;
  piece.cells = std::move(cells);
  return piece;
}

// Spread of means over squares of a piece's size around it, in one picture: what grain and noise
// alone do there. Squares keep clear of the piece itself.
double SpreadBeside(const CameraSample& sample, cv::Point2d centre_px, double diameter_px) {
  const int side = std::max(1, cvRound(0.9 * diameter_px / sample.cell_px));
  const int reach = std::clamp(4 * side, 24, 400);
  const double half = 0.5 * (sample.cell_px - 1);
  const cv::Point middle(cvRound((centre_px.x - sample.roi_px.x - half) / sample.cell_px),
                         cvRound((centre_px.y - sample.roi_px.y - half) / sample.cell_px));
  const cv::Rect window =
      cv::Rect(middle.x - reach, middle.y - reach, 2 * reach + 1, 2 * reach + 1) &
      cv::Rect({0, 0}, sample.ratio.size());
  if (window.width < side || window.height < side) return 1e6;
  cv::Mat values = sample.ratio(window).clone();
  cv::Mat known(values.size(), CV_32FC1);
  for (int y = 0; y < values.rows; ++y) {
    for (int x = 0; x < values.cols; ++x) {
      known.at<float>(y, x) = std::isnan(values.at<float>(y, x)) ? 0.0F : 1.0F;
    }
  }
  cv::patchNaNs(values, 0.0);
  cv::Mat means;
  cv::Mat shares;
  const cv::Size square(side, side);
  cv::blur(values, means, square);
  cv::blur(known, shares, square);
  std::vector<float> sizes;
  const int stride = std::max(1, side / 4);
  for (int y = 0; y < means.rows; y += stride) {
    for (int x = 0; x < means.cols; x += stride) {
      const cv::Point from = cv::Point(x, y) + window.tl() - middle;
      if (std::max(std::abs(from.x), std::abs(from.y)) <= side) continue;
      if (shares.at<float>(y, x) > 0.99F) sizes.push_back(std::abs(means.at<float>(y, x)));
    }
  }
  if (sizes.size() < kLeastSquares) return 1e6;
  return std::max(1e-4, 1.4826 * static_cast<double>(MedianOfPositive(std::move(sizes))));
}

// What one position shows of a piece: its mean there, and what grain and noise alone would do.
struct Opinion {
  double mean = 0;
  double spread = 1;
  cv::Point2d centre_px;  // of the cladding
};

std::vector<Opinion> OpinionsOf(const std::vector<CameraSample>& samples,
                                const std::vector<int>& positions,
                                const FixedPattern& pattern,
                                const Piece& piece) {
  const cv::Point2d centre_px = PxOf(pattern, piece.centre);
  const double diameter_px = 2 * piece.radius * pattern.step_px;
  std::vector<Opinion> opinions;
  std::vector<int> counted;
  for (std::size_t i = 0; i < samples.size(); ++i) {
    if (std::find(counted.begin(), counted.end(), positions[i]) != counted.end()) continue;
    double sum = 0;
    std::size_t count = 0;
    for (const cv::Point& cell : piece.cells) {
      const auto value = At(samples[i], PxOf(pattern, cv::Point2d(cell)));
      if (!value) continue;
      sum += static_cast<double>(value->value);
      ++count;
    }
    if (2 * count < piece.cells.size() || count == 0) continue;
    counted.push_back(positions[i]);
    opinions.push_back({sum / static_cast<double>(count),
                        SpreadBeside(samples[i], centre_px, diameter_px),
                        samples[i].centre_px});
  }
  return opinions;
}

double FurthestApart(const std::vector<cv::Point2d>& points) {
  double furthest = 0;
  for (const cv::Point2d& a : points) {
    for (const cv::Point2d& b : points)
      furthest = std::max(furthest, std::hypot(a.x - b.x, a.y - b.y));
  }
  return furthest;
}

// Whether enough positions show it, each clear of its own noise and far enough apart for the
// piece's size, hardly any contradicts, and together they are clear of chance.
bool Confirmed(const std::vector<Opinion>& opinions,
               const FixedPattern& pattern,
               const Piece& piece) {
  double usual = 0;  // mean over the piece
  for (const cv::Point& cell : piece.cells) {
    usual += static_cast<double>(pattern.mean.at<float>(cell));
  }
  usual /= static_cast<double>(piece.cells.size());
  std::vector<cv::Point2d> agreeing;
  std::size_t contradicting = 0;
  std::vector<double> spreads;
  for (const Opinion& o : opinions) {
    const double ratio = o.mean / usual;
    const bool alike = ratio > kAgreeDepth && ratio < 1 / kAgreeDepth;
    if (alike && std::abs(o.mean) >= kAgreeSigma * o.spread) agreeing.push_back(o.centre_px);
    contradicting += !alike && std::abs(o.mean - usual) > kContradictSigma * o.spread ? 1 : 0;
    spreads.push_back(o.spread);
  }
  const std::vector<double> weights = CappedWeights(spreads);
  double evidence = 0;
  double variance = 0;
  for (std::size_t i = 0; i < opinions.size(); ++i) {
    evidence += weights[i] * opinions[i].mean;
    variance += weights[i] * weights[i] * spreads[i] * spreads[i];
  }
  return static_cast<int>(agreeing.size()) >= kLeastPositions &&
         6 * contradicting <= opinions.size() &&
         FurthestApart(agreeing) >= 1.5 * piece.radius * pattern.step_px &&
         std::abs(evidence) >= kThreshold * std::sqrt(variance);
}

// Sigma of the Gaussian whose step is as steep as the piece's border, pixels: its brightness by the
// distance from where its region ends, averaged all round, so that noise hardly counts.
double EdgeSigmaPx(const FixedPattern& pattern, const Layer& layer, const Piece& piece) {
  const int reach = static_cast<int>(std::ceil(1.5 * piece.radius + 3));
  cv::Rect box = cv::boundingRect(piece.cells);
  box = cv::Rect(box.x - reach, box.y - reach, box.width + 2 * reach, box.height + 2 * reach) &
        cv::Rect({0, 0}, layer.smooth.size());
  cv::Mat inside = cv::Mat::zeros(box.size(), CV_8UC1);
  for (const cv::Point& cell : piece.cells) inside.at<uchar>(cell - box.tl()) = 255;
  cv::Mat out;
  cv::Mat in;
  cv::distanceTransform(255 - inside, out, cv::DIST_L2, cv::DIST_MASK_5);
  cv::distanceTransform(inside, in, cv::DIST_L2, cv::DIST_MASK_5);
  std::vector<double> sums(static_cast<std::size_t>(2 * reach + 1), 0.0);
  std::vector<double> weights(sums.size(), 0.0);
  for (int y = 0; y < box.height; ++y) {
    for (int x = 0; x < box.width; ++x) {
      const int at = cvRound(out.at<float>(y, x) - in.at<float>(y, x)) + reach;
      const cv::Point cell = cv::Point(x, y) + box.tl();
      const auto weight = static_cast<double>(pattern.weight.at<float>(cell));
      if (at < 0 || at > 2 * reach || weight <= 0) continue;
      sums[static_cast<std::size_t>(at)] +=
          weight * static_cast<double>(layer.smooth.at<float>(cell));
      weights[static_cast<std::size_t>(at)] += weight;
    }
  }
  double low = 0;
  double high = 0;
  double steepest = 0;
  std::vector<double> values;
  for (std::size_t i = 0; i < sums.size(); ++i) {
    if (weights[i] <= 0) continue;
    values.push_back(sums[i] / weights[i]);
    low = std::min(low, values.back());
    high = std::max(high, values.back());
  }
  for (std::size_t i = 1; i + 1 < values.size(); ++i) {
    steepest = std::max(steepest, 0.5 * std::abs(values[i + 1] - values[i - 1]));
  }
  const double seen = (high - low) / std::max(1e-9, steepest * std::sqrt(2 * CV_PI));
  return pattern.step_px * std::sqrt(std::max(0.0, seen * seen - layer.sigma * layer.sigma));
}

// Transmission on a coarse grid, fading to 1 outside the piece. `owner`: cells of other pieces
// stay 1 here, so that nothing is divided out twice.
void DrawGrid(const FixedPattern& pattern,
              const Layer& layer,
              const Piece& piece,
              double edge_px,
              cv::Mat* owned,
              FixedDirt* dirt) {
  const int reach = static_cast<int>(std::ceil(1.3 * piece.radius + 2 * layer.sigma));
  cv::Rect box = cv::boundingRect(piece.cells);
  box = cv::Rect(box.x - reach, box.y - reach, box.width + 2 * reach, box.height + 2 * reach) &
        cv::Rect({0, 0}, pattern.mean.size());
  cv::Mat outside(box.size(), CV_8UC1, cv::Scalar(255));
  for (const cv::Point& cell : piece.cells) outside.at<uchar>(cell - box.tl()) = 0;
  cv::Mat distance;
  cv::distanceTransform(outside, distance, cv::DIST_L2, cv::DIST_MASK_5);
  cv::Mat fine(box.size(), CV_32FC1, cv::Scalar(1));
  for (int y = 0; y < box.height; ++y) {
    for (int x = 0; x < box.width; ++x) {
      const cv::Point cell = cv::Point(x, y) + box.tl();
      if (owned->at<uchar>(cell)) continue;
      const auto away = static_cast<double>(distance.at<float>(y, x));
      const double share = std::clamp((reach - away) / (0.4 * reach), 0.0, 1.0);
      if (share <= 0) continue;
      owned->at<uchar>(cell) = 255;
      fine.at<float>(y, x) = 1 + static_cast<float>(share) * layer.smooth.at<float>(cell);
    }
  }
  const int longest = std::max(box.width, box.height);
  int step = std::max(1, static_cast<int>(edge_px / pattern.step_px / 1.5));
  step = std::max(step, (longest + kMostGridSide - 1) / kMostGridSide);
  const cv::Size size((box.width - 1) / step + 1, (box.height - 1) / step + 1);
  dirt->grid = cv::Mat(size, CV_32FC1);
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      dirt->grid.at<float>(y, x) = fine.at<float>(y * step, x * step);
    }
  }
  dirt->grid_step_px = step * pattern.step_px;
  dirt->grid_origin_px = PxOf(pattern, cv::Point2d(box.tl()));
}

// All cells from which light is missing (or to which it is added), as a polygon in pixels.
void DrawOutline(const FixedPattern& pattern,
                 const Layer& layer,
                 const Piece& piece,
                 double blur_px,
                 FixedDirt* dirt) {
  const double furthest = 2.5 * piece.radius + 3;
  const auto fringe = Grow(pattern.mean.size(), piece.cells, [&](cv::Point p) {
    const auto light = static_cast<double>(std::abs(layer.smooth.at<float>(p)));
    const auto noise = static_cast<double>(layer.noise.at<float>(p));
    return light > std::max(kFringe, 3 * noise) && pattern.weight.at<float>(p) > 0 &&
           std::hypot(p.x - piece.centre.x, p.y - piece.centre.y) < furthest;
  });
  const int grow = 1 + static_cast<int>(std::ceil(blur_px / pattern.step_px));
  cv::Rect box = cv::boundingRect(fringe);
  box = {box.x - grow - 1, box.y - grow - 1, box.width + 2 * grow + 2, box.height + 2 * grow + 2};
  // Drawn in pixels, so that the polygon holds each cell's whole square.
  cv::Mat mask = cv::Mat::zeros(box.height * pattern.step_px, box.width * pattern.step_px, CV_8UC1);
  for (const cv::Point& cell : fringe) {
    const cv::Point at = (cell - box.tl()) * pattern.step_px;
    mask(cv::Rect(at, cv::Size(pattern.step_px, pattern.step_px))).setTo(255);
  }
  const int by = grow * pattern.step_px;
  cv::dilate(
      mask, mask, cv::getStructuringElement(cv::MORPH_ELLIPSE, cv::Size(2 * by + 1, 2 * by + 1)));
  std::vector<std::vector<cv::Point>> contours;
  cv::findContours(
      mask, contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_SIMPLE, box.tl() * pattern.step_px);
  const auto largest =
      std::max_element(contours.begin(), contours.end(), [](const auto& a, const auto& b) {
        return cv::contourArea(a) < cv::contourArea(b);
      });
  cv::convexHull(*largest, dirt->outline_px);  // a little more hidden, never less
}

}  // namespace

std::vector<FixedDirt> FindFixedDirt(const std::vector<CameraSample>& samples,
                                     const std::vector<int>& positions,
                                     double blur_px) {
  std::vector<FixedDirt> found;
  const int num_positions = 1 + *std::max_element(positions.begin(), positions.end());
  if (num_positions < kLeastPositions) return found;
  const FixedPattern pattern = Combine(samples, positions, num_positions);
  std::vector<Layer> layers;
  for (const double sigma : kScales) layers.push_back(MakeLayer(pattern, sigma));
  cv::Mat taken = cv::Mat::zeros(pattern.mean.size(), CV_8UC1);
  cv::Mat owned = cv::Mat::zeros(pattern.mean.size(), CV_8UC1);
  std::vector<Piece> pieces;
  for (const Peak& peak : FindPeaks(layers)) {
    if (taken.at<uchar>(peak.cell)) continue;
    const Layer& layer = layers[peak.layer];
    const float top = layer.smooth.at<float>(peak.cell);
    const float sign = top < 0 ? -1.0F : 1.0F;
    const auto border = static_cast<float>(kBorderShare) * std::abs(top);
    const Piece piece =
        Describe(Grow(pattern.mean.size(),
                      {peak.cell},
                      [&](cv::Point p) {
                        return !taken.at<uchar>(p) && sign * layer.smooth.at<float>(p) >= border;
                      }),
                 static_cast<double>(top));
    for (const cv::Point& cell : piece.cells) taken.at<uchar>(cell) = 255;
    const bool is_halo = std::any_of(pieces.begin(), pieces.end(), [&](const Piece& other) {
      const cv::Point2d away = other.centre - piece.centre;
      return other.depth * piece.depth < 0 &&
             std::abs(piece.depth) < kHaloShare * std::abs(other.depth) &&
             std::hypot(away.x, away.y) < other.radius + piece.radius + kSurround * layer.sigma;
    });
    if (is_halo || !Confirmed(OpinionsOf(samples, positions, pattern, piece), pattern, piece))
      continue;
    pieces.push_back(piece);
    const auto finest_for = [&](double snr) {
      std::size_t i = 0;
      while (i < peak.layer &&
             static_cast<double>(std::abs(top) / layers[i].noise.at<float>(peak.cell)) < snr) {
        ++i;
      }
      return i;
    };
    const Layer& drawn = layers[finest_for(kDrawnSnr)];
    // Smoothed enough to lie over the noise, and less than the border itself may be soft.
    std::size_t edge_layer = 0;
    while (edge_layer < peak.layer && kScales[edge_layer] < kEdgeScale * piece.radius) ++edge_layer;
    const double edge_px = EdgeSigmaPx(pattern, layers[edge_layer], piece);
    FixedDirt dirt;
    dirt.centre_px = PxOf(pattern, piece.centre);
    dirt.diameter_px = 2 * piece.radius * pattern.step_px;
    dirt.transmission = 1 + static_cast<double>(drawn.smooth.at<float>(peak.cell));
    const double depth = std::abs(piece.depth);
    const bool soft = edge_px > kSoftOverBlur * blur_px;
    const bool faint = depth < kFaintDepth && dirt.diameter_px > kFaintOverBlur * blur_px;
    dirt.divided = depth < kMostDividedDepth && (soft || faint);
    // Its fringes are not dirt of their own.
    for (const cv::Point& cell : piece.cells) {
      cv::circle(taken, cell, static_cast<int>(std::ceil(piece.radius + 2 * layer.sigma)), 255, -1);
    }
    if (dirt.divided) {
      DrawGrid(pattern, drawn, piece, edge_px, &owned, &dirt);
    } else {
      DrawOutline(pattern, drawn, piece, blur_px, &dirt);
    }
    found.push_back(std::move(dirt));
  }
  std::stable_sort(found.begin(), found.end(), [](const FixedDirt& a, const FixedDirt& b) {
    return a.centre_px.y != b.centre_px.y ? a.centre_px.y < b.centre_px.y
                                          : a.centre_px.x < b.centre_px.x;
  });
  return found;
}

}  // namespace endgrade::camera
