// Any pixels as a photograph, through the whole chain and what is written of it: discs, marks and
// noise where the bytes say so, or the bytes themselves as pixels.
#include "endgrade/grade_image.h"
#include "endgrade/limits.h"
#include "endgrade/present.h"

#include <opencv2/imgproc.hpp>

#include <cstdlib>
#include <string>

namespace {

using namespace endgrade;

class Bytes {
 public:
  Bytes(const std::uint8_t* bytes, std::size_t size) : bytes_(bytes), size_(size) {}
  int Next() { return at_ < size_ ? bytes_[at_++] : 0; }
  [[nodiscard]] bool empty() const { return at_ >= size_; }

 private:
  const std::uint8_t* bytes_;
  std::size_t size_;
  std::size_t at_ = 0;
};

const Limits& LimitsOf(int which) {
  static const auto all = ListLimits();
  const auto& limits = all[static_cast<std::size_t>(which) % all.size()];
  if (!limits.ok()) std::abort();
  return *limits;
}

cv::Mat Picture(Bytes* bytes) {
  const int width = 1 + bytes->Next() * 2;
  const int height = 1 + bytes->Next() * 2;
  const int how = bytes->Next();
  cv::Mat picture(height, width, how & 1 ? CV_16UC1 : CV_8UC1, cv::Scalar(bytes->Next()));
  const double most = how & 1 ? 65535.0 : 255.0;
  if (how & 2) {  // pixels themselves
    for (int y = 0; y < height && !bytes->empty(); ++y) {
      for (int x = 0; x < width; ++x) {
        const double value = bytes->Next() / 255.0 * most;
        if (how & 1) {
          picture.at<std::uint16_t>(y, x) = static_cast<std::uint16_t>(value);
        } else {
          picture.at<std::uint8_t>(y, x) = static_cast<std::uint8_t>(value);
        }
      }
    }
    return picture;
  }
  for (int i = 0; i < 40 && !bytes->empty(); ++i) {
    const int kind = bytes->Next();
    const cv::Point at(bytes->Next() * width / 255, bytes->Next() * height / 255);
    const cv::Scalar level(bytes->Next() / 255.0 * most);
    const int size = bytes->Next();
    if (kind & 1) {
      cv::circle(picture, at, size, level, kind & 2 ? 1 + size / 40 : cv::FILLED, cv::LINE_AA);
    } else {
      cv::line(picture, at, {size * width / 255, height - at.y}, level, 1 + kind / 64, cv::LINE_AA);
    }
  }
  if (how & 4) cv::GaussianBlur(picture, picture, {0, 0}, 0.5 + how / 64.0);
  if (how & 8) {
    cv::Mat noise(picture.size(), CV_32FC1);
    cv::RNG random(static_cast<std::uint64_t>(how) + 1);
    random.fill(noise, cv::RNG::NORMAL, 0.0, most / 255.0 * (1 + how / 32));
    cv::add(picture, noise, picture, cv::noArray(), picture.type());
  }
  return picture;
}

void Require(bool holds) {
  if (!holds) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  cv::setNumThreads(1);
  Bytes bytes(data, size);
  const Limits& limits = LimitsOf(bytes.Next());
  GradeOptions options;
  const int scale = bytes.Next();
  if (scale > 128) options.scale.um_per_px = 0.01 + (scale - 128) * 0.02;
  Frame frame;
  frame.luma = Picture(&bytes);
  frame.white_level = frame.luma.depth() == CV_16U ? 65535.0 : 255.0;
  const auto grade = GradeFrame(frame, limits, options);
  if (!grade.ok()) {
    Require(grade.error().kind != ErrorKind::kInternal && !grade.error().what.empty());
    return 0;
  }
  for (const FibreGrade& fibre : grade->fibres) {
    for (const RuleOutcome& rule : fibre.rules) {
      Require(grade->verdict != Verdict::kPass || rule.met);
    }
  }
  Require(grade->verdict == Verdict::kPass || !grade->reasons.empty() || !grade->fibres.empty());
  Require(RecordJson(frame, limits, *grade).find('\n') == std::string::npos);
  Require(!VerdictText(frame, limits, *grade).empty());
  const cv::Mat overlay = DrawOverlay(frame, limits, *grade);
  Require(overlay.cols >= frame.luma.cols);
  return 0;
}
