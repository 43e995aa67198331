#include "endgrade/camera.h"

#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdio>

namespace endgrade {
namespace {

constexpr int kMostWindow = 1536;        // side of the spectrum's window, pixels
constexpr double kLeastWaves = 5;        // across the window: fewer are light, not lines
constexpr double kMostWavesPerPx = 0.4;  // finer lines alias
constexpr double kLeastPeak = 12;        // over the spectrum's median: weaker is noise
constexpr double kGridShare = 0.2;       // of the strongest wave, that a grid's other one has
constexpr double kSubharmonic = 0.25;  // of it, that makes a wave of half the frequency the pitch's
constexpr double kPeriodsPerBlock = 3;  // side of a block in periods
constexpr double kMostResidual = 0.06;  // rms, periods: beyond it the lines are not evenly spaced
constexpr std::size_t kLeastBlocks = 9;

Error Refused(const Frame& frame, const std::string& what, const std::string& remedy) {
  return {ErrorKind::kUnsupported, frame.path.string(), 0, what, remedy};
}

// Amplitudes of the windowed picture by wave: fy in [-0.5, 0.5), fx in [0, 0.5].
struct Spectrum {
  cv::Mat amplitude;  // CV_32FC1, square, zero frequency in the middle
  int side = 0;
  double median = 0;

  [[nodiscard]] cv::Vec2d WaveOf(cv::Point2d p) const {
    return {p.x / side - 0.5, p.y / side - 0.5};
  }
  [[nodiscard]] double At(const cv::Vec2d& wave) const {
    double best = 0;
    const int cx = cvRound((wave[0] + 0.5) * side);
    const int cy = cvRound((wave[1] + 0.5) * side);
    for (int y = cy - 2; y <= cy + 2; ++y) {
      for (int x = cx - 2; x <= cx + 2; ++x) {
        if (x < 0 || y < 0 || x >= side || y >= side) continue;
        best = std::max(best, static_cast<double>(amplitude.at<float>(y, x)));
      }
    }
    return best;
  }
};

cv::Mat Window(const cv::Mat& luma, int side) {
  const cv::Rect middle((luma.cols - side) / 2, (luma.rows - side) / 2, side, side);
  cv::Mat pixels;
  luma(middle).convertTo(pixels, CV_32F);
  pixels -= cv::mean(pixels)[0];
  cv::Mat hann;
  cv::createHanningWindow(hann, cv::Size(side, side), CV_32F);
  cv::multiply(pixels, hann, pixels);
  return pixels;
}

Spectrum MakeSpectrum(const cv::Mat& luma) {
  Spectrum spectrum;
  const int room = std::min({luma.cols, luma.rows, kMostWindow});
  spectrum.side = 2 * (room / 2);
  cv::Mat waves;
  cv::dft(Window(luma, spectrum.side), waves, cv::DFT_COMPLEX_OUTPUT);
  std::vector<cv::Mat> parts;
  cv::split(waves, parts);
  cv::Mat amplitude;
  cv::magnitude(parts[0], parts[1], amplitude);
  // Zero frequency to the middle.
  spectrum.amplitude = cv::Mat(amplitude.size(), CV_32FC1);
  const int half = spectrum.side / 2;
  std::vector<float> some;
  for (int y = 0; y < spectrum.side; ++y) {
    for (int x = 0; x < spectrum.side; ++x) {
      const float a = amplitude.at<float>((y + half) % spectrum.side, (x + half) % spectrum.side);
      spectrum.amplitude.at<float>(y, x) = a;
      if ((x + 7 * y) % 31 == 0) some.push_back(a);
    }
  }
  const auto middle = some.begin() + static_cast<std::ptrdiff_t>(some.size() / 2);
  std::nth_element(some.begin(), middle, some.end());
  spectrum.median = std::max(1e-6, static_cast<double>(*middle));
  return spectrum;
}

// The strongest wave for which `allowed` says yes, to a fraction of a step.
template <typename Allowed>
std::optional<cv::Vec2d> StrongestWave(const Spectrum& spectrum, const Allowed& allowed) {
  cv::Point best(-1, -1);
  float most = 0;
  const cv::Mat& a = spectrum.amplitude;
  for (int y = 1; y + 1 < spectrum.side; ++y) {
    for (int x = spectrum.side / 2; x + 1 < spectrum.side; ++x) {  // the other half mirrors it
      if (a.at<float>(y, x) <= most) continue;
      const cv::Vec2d wave = spectrum.WaveOf(cv::Point2d(x, y));
      const double size = std::hypot(wave[0], wave[1]);
      if (size * spectrum.side < kLeastWaves || size > kMostWavesPerPx || !allowed(wave)) continue;
      most = a.at<float>(y, x);
      best = {x, y};
    }
  }
  if (best.x < 0 || static_cast<double>(most) < kLeastPeak * spectrum.median) return std::nullopt;
  const auto shift = [](float before, float here, float after) {
    const auto bend = static_cast<double>(before - 2 * here + after);
    return bend < 0 ? std::clamp(0.5 * static_cast<double>(before - after) / bend, -0.5, 0.5) : 0.0;
  };
  const double dx = shift(a.at<float>(best.y, best.x - 1), most, a.at<float>(best.y, best.x + 1));
  const double dy = shift(a.at<float>(best.y - 1, best.x), most, a.at<float>(best.y + 1, best.x));
  return spectrum.WaveOf({best.x + dx, best.y + dy});
}

double AngleBetween(const cv::Vec2d& a, const cv::Vec2d& b) {
  const double cosine = std::abs(a.dot(b)) / std::max(1e-12, cv::norm(a) * cv::norm(b));
  return std::acos(std::min(1.0, cosine)) * 180 / CV_PI;
}

// Lines may show an overtone more strongly than the pitch itself, or only overtones where there are
// too few of them: then nothing, for the pitch would be taken for a third of what it is.
std::optional<cv::Vec2d> Fundamental(const Spectrum& spectrum, const cv::Vec2d& wave) {
  for (const double part : {3.0, 2.0}) {
    const cv::Vec2d lower = wave * (1 / part);
    const double amplitude = spectrum.At(lower);
    if (amplitude < kSubharmonic * spectrum.At(wave)) continue;
    if (amplitude < kLeastPeak * spectrum.median) continue;
    if (cv::norm(lower) * spectrum.side < kLeastWaves) return std::nullopt;
    return lower;
  }
  return wave;
}

// One block's phase against a wave, in periods, and how strongly it shows it.
struct Phase {
  cv::Point2d middle_px;
  double phase = 0;
  double amplitude = 0;
};

std::vector<Phase> Phases(const cv::Mat& luma, const cv::Vec2d& wave, int side) {
  std::vector<Phase> phases;
  cv::Mat hann;
  cv::createHanningWindow(hann, cv::Size(side, side), CV_32F);
  for (int top = 0; top + side <= luma.rows; top += side) {
    for (int left = 0; left + side <= luma.cols; left += side) {
      cv::Mat block;
      luma(cv::Rect(left, top, side, side)).convertTo(block, CV_32F);
      block -= cv::sum(block.mul(hann))[0] / cv::sum(hann)[0];
      std::complex<double> sum = 0;
      for (int y = 0; y < side; ++y) {
        for (int x = 0; x < side; ++x) {
          const double turn = -2 * CV_PI * (wave[0] * (left + x) + wave[1] * (top + y));
          const double value = static_cast<double>(block.at<float>(y, x)) *
                               static_cast<double>(hann.at<float>(y, x));
          sum += value * std::polar(1.0, turn);
        }
      }
      phases.push_back({{left + 0.5 * (side - 1), top + 0.5 * (side - 1)},
                        std::arg(sum) / (2 * CV_PI),
                        std::abs(sum)});
    }
  }
  // Blocks without lines (the target's border, a glare) say nothing.
  std::vector<double> sizes;
  for (const Phase& p : phases) sizes.push_back(p.amplitude);
  if (sizes.empty()) return phases;
  const auto high = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() * 4 / 5);
  std::nth_element(sizes.begin(), high, sizes.end());
  const double least = 0.3 * *high;
  std::erase_if(phases, [&](const Phase& p) { return p.amplitude < least; });
  return phases;
}

double Wrapped(double periods) { return periods - std::round(periods); }

struct WaveFit {
  cv::Vec2d wave;
  cv::Vec2d u;          // standard uncertainty of either component
  double residual = 0;  // rms, periods
};

// Phase = base + (true wave - assumed one) . place, modulo 1: refined until it stands still.
std::optional<WaveFit> FitWave(const cv::Mat& luma, const cv::Vec2d& wave) {
  const double period_px = 1 / cv::norm(wave);
  const int shorter = std::min(luma.cols, luma.rows);
  const int side = std::clamp(static_cast<int>(kPeriodsPerBlock * period_px), 8, shorter / 3);
  std::vector<Phase> phases = Phases(luma, wave, side);
  if (phases.size() < kLeastBlocks) return std::nullopt;
  // Neighbours first: their difference needs no unwrapping.
  cv::Vec2d slope(0, 0);
  for (const int axis : {0, 1}) {
    std::complex<double> sum = 0;
    for (std::size_t i = 0; i < phases.size(); ++i) {
      for (std::size_t j = 0; j < phases.size(); ++j) {
        const cv::Point2d d = phases[j].middle_px - phases[i].middle_px;
        const bool neighbour = axis == 0 ? d.y == 0 && d.x == side : d.x == 0 && d.y == side;
        if (!neighbour) continue;
        sum +=
            phases[i].amplitude * std::polar(1.0, 2 * CV_PI * (phases[j].phase - phases[i].phase));
      }
    }
    slope[axis] = std::abs(sum) > 0 ? std::arg(sum) / (2 * CV_PI) / side : 0.0;
  }
  WaveFit fit{wave, {0, 0}, 0};
  const cv::Point2d origin(0.5 * luma.cols, 0.5 * luma.rows);
  double base = 0;
  cv::Matx33d inverse;
  for (int pass = 0; pass < 6; ++pass) {
    if (pass == 0) {
      std::complex<double> sum = 0;
      for (const Phase& p : phases) {
        const cv::Point2d d = p.middle_px - origin;
        const double turn = p.phase - slope[0] * d.x - slope[1] * d.y;
        sum += p.amplitude * std::polar(1.0, 2 * CV_PI * turn);
      }
      base = std::arg(sum) / (2 * CV_PI);
    }
    cv::Matx33d normal = cv::Matx33d::zeros();
    cv::Vec3d right(0, 0, 0);
    double square = 0;
    for (const Phase& p : phases) {
      const cv::Point2d d = p.middle_px - origin;
      const double left = Wrapped(p.phase - base - slope[0] * d.x - slope[1] * d.y);
      const cv::Vec3d row(1, d.x, d.y);
      normal += row * row.t();
      right += row * left;
      square += left * left;
    }
    inverse = normal.inv();
    const cv::Vec3d step = inverse * right;
    base += step[0];
    slope += cv::Vec2d(step[1], step[2]);
    fit.residual = std::sqrt(square / static_cast<double>(phases.size()));
  }
  const double freedom = std::max(1.0, static_cast<double>(phases.size()) - 3);
  const double sigma = fit.residual * std::sqrt(static_cast<double>(phases.size()) / freedom);
  fit.wave = wave + slope;
  fit.u = {sigma * std::sqrt(inverse(1, 1)), sigma * std::sqrt(inverse(2, 2))};
  return fit;
}

std::string Rounded(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.3g", value);
  return text;
}

// Two directions of lines of one pitch: um_from_px up to a turn, so its axes' lengths.
void UseGrid(const WaveFit& first, const WaveFit& second, double pitch_um, ScaleTarget* target) {
  const double sx = pitch_um * std::hypot(first.wave[0], second.wave[0]);
  const double sy = pitch_um * std::hypot(first.wave[1], second.wave[1]);
  const double ux = pitch_um * std::hypot(first.u[0], second.u[0]);
  const double uy = pitch_um * std::hypot(first.u[1], second.u[1]);
  target->both_axes = true;
  target->um_per_px = {
      std::sqrt(sx * sy),
      std::sqrt(sx * sy) * std::hypot(ux / sx, uy / sy)};  // 2 u, halved by the root
  target->pixel_aspect = {sy / sx, 2 * sy / sx * std::hypot(ux / sx, uy / sy)};
}

}  // namespace

std::optional<std::string> TargetOptions::Problem() const {
  if (!(pitch_um >= 0.5 && pitch_um <= 1000)) {
    return "TargetOptions.pitch_um = " + Rounded(pitch_um) + ": must be within [0.5, 1000]";
  }
  if (!(pitch_relative_uncertainty >= 0 && pitch_relative_uncertainty <= 0.1)) {
    return "TargetOptions.pitch_relative_uncertainty = " + Rounded(pitch_relative_uncertainty) +
           ": must be within [0, 0.1]";
  }
  return std::nullopt;
}

Result<ScaleTarget> MeasureTarget(const Frame& frame, const TargetOptions& options) {
  if (auto problem = options.Problem()) {
    return Error{ErrorKind::kBadOption, "", 0, *problem, ""};
  }
  const cv::Mat& luma = frame.luma;
  if (luma.cols < 64 || luma.rows < 64) {
    return Refused(frame, "is too small for a scale target", "Use a picture of the whole view");
  }
  const Spectrum spectrum = MakeSpectrum(luma);
  const auto strongest = StrongestWave(spectrum, [](const cv::Vec2d&) { return true; });
  const auto fundamental = strongest ? Fundamental(spectrum, *strongest) : std::nullopt;
  if (!fundamental) {
    return Refused(frame,
                   "shows no evenly spaced lines, or too few",
                   "Photograph a scale target in focus: at least " + Rounded(kLeastWaves) +
                       " lines, each over three pixels from the next");
  }
  const cv::Vec2d& coarse = *fundamental;
  const auto first = FitWave(luma, coarse);
  if (!first || first->residual > kMostResidual) {
    return Refused(frame,
                   "its lines are not evenly spaced, or do not fill the view",
                   "Photograph a part of the target with lines of one pitch only, in focus");
  }
  ScaleTarget target;
  target.picture_px = luma.size();
  target.waves_per_px = first->wave;
  const double size = cv::norm(first->wave);
  target.normal_deg = std::atan2(first->wave[1], first->wave[0]) * 180 / CV_PI;
  target.residual_um = first->residual * options.pitch_um;
  target.num_periods = std::abs(first->wave[0]) * luma.cols + std::abs(first->wave[1]) * luma.rows;
  const double u_size =
      std::hypot(first->wave[0] * first->u[0], first->wave[1] * first->u[1]) / size;
  target.um_per_px = {options.pitch_um * size, 2 * options.pitch_um * u_size};

  const double strength = spectrum.At(coarse);
  const auto other = StrongestWave(spectrum, [&](const cv::Vec2d& wave) {
    const double ratio = cv::norm(wave) / size;
    return AngleBetween(wave, coarse) > 70 && ratio > 0.7 && ratio < 1.4;
  });
  if (other && spectrum.At(*other) > kGridShare * strength) {
    const auto second = FitWave(luma, *other);
    if (second && second->residual <= kMostResidual) {
      UseGrid(*first, *second, options.pitch_um, &target);
    }
  }
  target.um_per_px.uncertainty = std::hypot(
      target.um_per_px.uncertainty, options.pitch_relative_uncertainty * target.um_per_px.value);
  return target;
}

}  // namespace endgrade
