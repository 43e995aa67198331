#!/usr/bin/env bash
# Installs what is missing of the Debian 12 packages that endgrade needs. Usage:
#   scripts/install_packages.sh build   what compiles and runs the program (the default)
#   scripts/install_packages.sh test    and what its tests lean on
#   scripts/install_packages.sh check   and the formatter, the linters and the fuzzer of .ci/run
#   scripts/install_packages.sh fuzz    what build and test need, and Clang for scripts/fuzz.sh
#   scripts/install_packages.sh bench   what build and test need, scripts/bench-speed.sh, and what
#                                       scripts/bench-accuracy.sh --others compares with
set -euo pipefail

build_packages=(
  g++ cmake ninja-build git
  libcli11-dev libdeflate-dev libexif-dev libfreetype-dev libjpeg-dev libopencv-core-dev
  libopencv-imgproc-dev libpng-dev fonts-dejavu-core # fonts: copied into the program
  libssl-dev libtomlplusplus-dev nlohmann-json3-dev
  libboost-dev libkainjow-mustache-dev libsqlitecpp-dev # the lot: statistics, report, store
  libopencv-imgcodecs406 # loaded at run time, for TIFF and BMP
)
test_packages=(
  libgmock-dev libgtest-dev librapidcheck-dev
  libjpeg-turbo-progs netpbm # djpeg and pngtopnm, to read against
  openssl # the command, to check a signature by
  python3 python3-jsonschema python3-numpy python3-pil python3-scipy python3-sep python3-skimage
)
check_packages=(clang-format-14 clang-tidy-14 cppcheck)
fuzz_packages=(clang-14 libclang-rt-14-dev)
bench_packages=(
  libbenchmark-dev
  imagej xauth xvfb python3-opencv # only to compare with
  chromium python3-websocket # scripts/bench-lot.sh; chromium also prints a job's report
)

case "${1:-build}" in
  build) wanted=("${build_packages[@]}") ;;
  test) wanted=("${build_packages[@]}" "${test_packages[@]}") ;;
  check) wanted=("${build_packages[@]}" "${test_packages[@]}" "${check_packages[@]}"
                "${fuzz_packages[@]}") ;;
  fuzz) wanted=("${build_packages[@]}" "${test_packages[@]}" "${fuzz_packages[@]}") ;;
  bench) wanted=("${build_packages[@]}" "${test_packages[@]}" "${bench_packages[@]}") ;;
  *) echo "usage: $0 [build|test|check|fuzz|bench]" >&2; exit 2 ;;
esac

if ! command -v apt-get >/dev/null; then
  echo "This machine has no apt-get. Install what these Debian packages hold, then go on:" >&2
  echo "  ${wanted[*]}" >&2
  exit 2
fi

missing=()
for package in "${wanted[@]}"; do
  state=$(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null || true)
  [ "$state" = installed ] || missing+=("$package")
done
[ ${#missing[@]} -gt 0 ] || exit 0

as_root=()
if [ "$(id -u)" -ne 0 ]; then
  if ! command -v sudo >/dev/null; then
    echo "Not root, and there is no sudo. As root, run:" >&2
    echo "  apt-get update && apt-get install --no-install-recommends ${missing[*]}" >&2
    exit 2
  fi
  as_root=(sudo)
fi
echo "Installing: ${missing[*]}"
"${as_root[@]}" apt-get update -qq
"${as_root[@]}" env DEBIAN_FRONTEND=noninteractive DEBCONF_NOWARNINGS=yes \
  apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
