// Reads sets of points and prints what src/measure says of each, for the comparison with SciPy and
// scikit-image beside this file. README.md states both formats.
#include "measure/enclosing_circle.h"
#include "measure/shape.h"

#include <cstdio>
#include <iomanip>
#include <iostream>
#include <string>
#include <vector>

namespace {

void Print(const std::string& name, const std::vector<cv::Point2d>& points) {
  const endgrade::EnclosingCircle circle = endgrade::FitEnclosingCircle(points);
  const endgrade::Shape shape = endgrade::DescribeShape(points);
  std::cout << name << ' ' << circle.diameter << ' ' << circle.centre.x << ' ' << circle.centre.y
            << ' ' << shape.diameter_enclosing_um << ' ' << shape.length_um << ' ' << shape.width_um
            << ' ' << shape.nearest_um << ' ' << shape.furthest_um << '\n';
}

}  // namespace

int main() {
  std::cout << std::setprecision(17);
  std::string word, name;
  size_t count = 0;
  while (std::cin >> word >> name >> count) {
    if (word != "set" || count == 0) {
      std::cerr << "expected `set NAME COUNT` with COUNT >= 1, found `" << word << "`\n";
      return 2;
    }
    std::vector<cv::Point2d> points(count);
    for (cv::Point2d& p : points) {
      if (!(std::cin >> p.x >> p.y)) {
        std::cerr << name << ": fewer points than stated\n";
        return 2;
      }
    }
    Print(name, points);
  }
  return 0;
}
