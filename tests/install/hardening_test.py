"""That the built program has the hardening that CMakeLists.txt asks for, as readelf sees it."""

import os
import re
import subprocess
import unittest
from pathlib import Path

ENDGRADE = os.environ["ENDGRADE"]
BUILD = Path(os.environ["ENDGRADE_BINARY_DIR"])
CACHE = (BUILD / "CMakeCache.txt").read_text()


def readelf(option, file=ENDGRADE):
    return subprocess.run(["readelf", "-W", option, file], capture_output=True, check=True,
                          text=True).stdout


@unittest.skipIf(re.search(r"ENDGRADE_SANITIZE:\w+=\S", CACHE), "sanitizers bring their own")
@unittest.skipUnless(re.search(r"ENDGRADE_HARDEN:BOOL=ON", CACHE), "built without hardening")
class HardeningTest(unittest.TestCase):
    def test_it_may_stand_at_any_address(self):
        self.assertRegex(readelf("-h"), r"Type:\s+DYN")

    def test_its_tables_are_read_only_and_its_stack_runs_nothing(self):
        for file in (ENDGRADE, BUILD / "lib/endgrade/endgrade_raster.so"):
            segments = readelf("-l", file)
            self.assertIn("GNU_RELRO", segments)
            self.assertRegex(segments, r"GNU_STACK .* RW  ")
            self.assertRegex(readelf("-d", file), r"BIND_NOW|FLAGS.*NOW")

    def test_stack_and_library_calls_are_guarded(self):
        symbols = readelf("--dyn-syms")
        self.assertIn("__stack_chk_fail", symbols)
        if "CMAKE_BUILD_TYPE:STRING=Debug" not in CACHE:
            self.assertRegex(symbols, r"__\w+_chk@")


if __name__ == "__main__":
    unittest.main()
