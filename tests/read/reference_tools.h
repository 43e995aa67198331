// Reference decoders and encoders, run as programs, and what passes between them and the tests.
#pragma once

#include "tests/support/temporary_folder.h"

#include <gtest/gtest.h>
#include <opencv2/core.hpp>

#include <cctype>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstring>
#include <ctime>
#include <fstream>
#include <iterator>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

namespace endgrade {

inline std::string BytesOf(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  if (!stream) throw std::runtime_error("cannot open " + file.string());
  return {std::istreambuf_iterator<char>(stream), {}};
}

// Milliseconds of work that this thread has done: what other programs do meanwhile does not count.
inline double WorkMs() {
  timespec time{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
  return 1e3 * static_cast<double>(time.tv_sec) + 1e-6 * static_cast<double>(time.tv_nsec);
}

// What a command prints. A tool that is missing or fails is a failed test, never a skipped one.
inline std::string OutputOf(const std::string& command) {
  std::FILE* pipe = popen(command.c_str(), "r");
  if (pipe == nullptr) throw std::runtime_error("cannot run " + command);
  std::string output;
  char buffer[65536];
  while (const std::size_t count = std::fread(buffer, 1, sizeof buffer, pipe)) {
    output.append(buffer, count);
  }
  if (pclose(pipe) != 0) throw std::runtime_error("failed: " + command);
  return output;
}

// The same with `input` on the command's standard input.
inline std::string Piped(const std::string& command, const std::string& input) {
  const TemporaryFolder folder;
  return OutputOf(command + " < " + folder.Write("input", input).string());
}

// Python as the tests' packages are installed for.
inline std::string PythonOutput(const std::string& program, const std::string& arguments = "") {
  const TemporaryFolder folder;
  return OutputOf("/usr/bin/python3 -B " + folder.Write("program.py", program).string() + " " +
                  arguments);
}

struct Pnm {
  cv::Mat samples;  // CV_8U or CV_16U; grey, or blue, green, red
  int max_value = 255;
};

// Netpbm's binary formats P4, P5 and P6 (man pages pbm, pgm, ppm).
inline Pnm ParsePnm(const std::string& bytes) {
  std::size_t at = 2;
  const auto number = [&] {
    while (at < bytes.size() && std::isspace(static_cast<unsigned char>(bytes[at])) != 0) ++at;
    int value = 0;
    while (at < bytes.size() && std::isdigit(static_cast<unsigned char>(bytes[at])) != 0) {
      value = 10 * value + (bytes[at++] - '0');
    }
    return value;
  };
  if (bytes.size() < 8 || bytes[0] != 'P') throw std::runtime_error("not PNM");
  const char kind = bytes[1];
  const int width = number();
  const int height = number();
  Pnm pnm;
  pnm.max_value = kind == '4' ? 1 : number();
  ++at;  // one white space
  const int channels = kind == '6' ? 3 : 1;
  const bool is_wide = pnm.max_value > 255;
  pnm.samples.create(height, width, CV_MAKETYPE(is_wide ? CV_16U : CV_8U, channels));
  for (int y = 0; y < height; ++y) {
    for (int x = 0; x < width; ++x) {
      if (kind == '4') {
        const auto byte =
            static_cast<unsigned char>(bytes.at(at + static_cast<std::size_t>(x / 8)));
        pnm.samples.at<std::uint8_t>(y, x) = (byte >> (7 - x % 8) & 1) != 0 ? 0 : 1;
        continue;
      }
      for (int c = 0; c < channels; ++c) {
        const int to = x * channels + (channels == 3 ? 2 - c : 0);
        const auto first = static_cast<unsigned char>(bytes.at(at++));
        if (is_wide) {
          const auto second = static_cast<unsigned char>(bytes.at(at++));
          pnm.samples.ptr<std::uint16_t>(y)[to] = static_cast<std::uint16_t>(first << 8 | second);
        } else {
          pnm.samples.ptr<std::uint8_t>(y)[to] = first;
        }
      }
    }
    if (kind == '4') at += static_cast<std::size_t>((width + 7) / 8);
  }
  return pnm;
}

// A colour or grey picture as PPM or PGM of 8 bits.
inline std::string PnmFrom(const cv::Mat& image) {
  const int channels = image.channels();
  std::string text = std::string(channels == 3 ? "P6" : "P5") + "\n" + std::to_string(image.cols) +
                     " " + std::to_string(image.rows) + "\n255\n";
  for (int y = 0; y < image.rows; ++y) {
    const std::uint8_t* row = image.ptr(y);
    for (int x = 0; x < image.cols; ++x) {
      for (int c = 0; c < channels; ++c) {
        text += static_cast<char>(row[x * channels + (channels == 3 ? 2 - c : 0)]);
      }
    }
  }
  return text;
}

// Smooth waves and noise of every brightness: neither flat nor pure noise after JPEG.
inline cv::Mat TestPicture(int width, int height, int channels) {
  std::mt19937 random(static_cast<unsigned int>(width * 1000 + height * 10 + channels));
  cv::Mat image(height, width, CV_MAKETYPE(CV_8U, channels));
  for (int y = 0; y < height; ++y) {
    for (int x = 0; x < width * channels; ++x) {
      const double wave = std::sin(0.11 * x / channels + 0.7 * (x % channels)) *
                          std::cos(0.07 * y + 0.3 * (x % channels));
      const double noise = static_cast<double>(random() % 64) - 32.0;
      image.ptr(y)[x] = cv::saturate_cast<std::uint8_t>(128 + 120 * wave + noise);
    }
  }
  return image;
}

inline std::string BytesOfRows(const cv::Mat& image) {
  std::string bytes;
  for (int y = 0; y < image.rows; ++y) {
    bytes.append(reinterpret_cast<const char*>(image.ptr(y)),
                 static_cast<std::size_t>(image.cols) * image.elemSize());
  }
  return bytes;
}

// Every sample the same; says the first that is not.
inline testing::AssertionResult SamePixels(const cv::Mat& actual, const cv::Mat& expected) {
  if (actual.size() != expected.size() || actual.type() != expected.type()) {
    return testing::AssertionFailure()
           << actual.cols << " x " << actual.rows << " of type " << actual.type() << ", expected "
           << expected.cols << " x " << expected.rows << " of type " << expected.type();
  }
  for (int y = 0; y < actual.rows; ++y) {
    for (int i = 0; i < actual.cols * actual.channels(); ++i) {
      const bool is_wide = actual.depth() == CV_16U;
      const int a = is_wide ? actual.ptr<std::uint16_t>(y)[i] : actual.ptr<std::uint8_t>(y)[i];
      const int e = is_wide ? expected.ptr<std::uint16_t>(y)[i] : expected.ptr<std::uint8_t>(y)[i];
      if (a != e) {
        return testing::AssertionFailure()
               << "row " << y << ", sample " << i << ": " << a << ", expected " << e;
      }
    }
  }
  return testing::AssertionSuccess();
}

// BT.601 luma in floating point, and how far 16-bit fixed point may be from it: half a unit of
// rounding, and three weights each off by at most half of 2^-16 times a full sample.
inline double ExactLuma(double b, double g, double r) { return 0.114 * b + 0.587 * g + 0.299 * r; }

inline testing::AssertionResult IsLumaOf(const cv::Mat& luma, const cv::Mat& bgr) {
  const bool is_wide = bgr.depth() == CV_16U;
  const double tolerance = 0.5 + 1.5 / 65536.0 * (is_wide ? 65535 : 255);
  if (luma.size() != bgr.size() || luma.depth() != bgr.depth() || luma.channels() != 1) {
    return testing::AssertionFailure() << "another size or depth";
  }
  cv::Mat values;
  bgr.convertTo(values, CV_64F);
  cv::Mat lumas;
  luma.convertTo(lumas, CV_64F);
  for (int y = 0; y < luma.rows; ++y) {
    for (int x = 0; x < luma.cols; ++x) {
      const auto p = values.at<cv::Vec3d>(y, x);
      const double expected = ExactLuma(p[0], p[1], p[2]);
      if (std::abs(lumas.at<double>(y, x) - expected) > tolerance) {
        return testing::AssertionFailure() << "row " << y << ", column " << x << ": "
                                           << lumas.at<double>(y, x) << ", expected " << expected;
      }
    }
  }
  return testing::AssertionSuccess();
}

}  // namespace endgrade
