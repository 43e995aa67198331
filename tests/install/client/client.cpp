// A whole program that grades one picture: client LIMITS PICTURE.
#include <endgrade/grade_image.h>
#include <endgrade/present.h>
#include <iostream>

int main(int argc, char** argv) {
  if (argc != 3) return 2;
  const auto limits = endgrade::FindLimits(argv[1]);
  const auto frame = endgrade::ReadFrame(argv[2]);
  if (!limits.ok() || !frame.ok()) return 2;
  const auto grade = endgrade::GradeFrame(*frame, *limits);
  if (!grade.ok()) return 2;
  std::cout << endgrade::RecordJson(*frame, *limits, *grade) << '\n';
}
