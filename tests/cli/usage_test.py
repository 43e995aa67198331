"""What the command says of itself, and of a command line that it does not understand."""

import os
import re
import subprocess
import unittest

ENDGRADE = os.environ["ENDGRADE"]
VERBS = [["grade"], ["limits"], ["limits", "list"], ["limits", "show"], ["limits", "check"],
         ["render"], ["explain"], ["compare"],
         ["camera"], ["camera", "learn"], ["camera", "target"],
         ["job"], ["job", "new"], ["job", "add"], ["job", "status"], ["job", "attach"],
         ["job", "report"], ["job", "sign"], ["verify"], ["key"], ["key", "new"], ["key", "show"]]


def run(*arguments):
    return subprocess.run([ENDGRADE, *arguments], capture_output=True, text=True, timeout=60,
                          check=False)


class UsageTest(unittest.TestCase):
    def test_help_of_every_verb_has_an_example_of_that_verb(self):
        for verb in [[], *VERBS]:
            with self.subTest(verb=verb):
                done = run(*verb, "--help")
                self.assertEqual((done.returncode, done.stderr), (0, ""))
                example = done.stdout.split("Example:")[1]
                self.assertIn(" ".join(["endgrade", *verb]), example)

    def test_help_names_every_verb_and_every_exit_code(self):
        text = run("--help").stdout
        for verb in ["grade", "explain", "limits", "camera", "render", "job", "verify", "key"]:
            self.assertRegex(text, rf"(?m)^  {verb} ")
        for code in "0123":
            self.assertRegex(text, rf"Exit codes:[^:]*\b{code} ")

    def test_help_says_what_is_bounded(self):
        text = run("--help").stdout
        for bound in ["100 megapixels", "256 MB", "1,000,000 pictures", "30 bytes"]:
            self.assertIn(bound, text)

    def test_version_names_the_build(self):
        self.assertRegex(run("--version").stdout, r"^endgrade \d+\.\d+\.\d+ \(.+\)\n$")

    def test_a_measure_that_is_no_number_is_2(self):
        for option in ["--um-per-px", "--max-megapixels", "--max-file-mb"]:
            for value in ["nan", "inf", "-1", "1e300", "0x", ""]:
                with self.subTest(option=option, value=value):
                    done = run("grade", "--limits", "sm-upc", option, value, "none.png")
                    self.assertEqual(done.returncode, 2)
                    self.assertIn(option, done.stderr)

    def test_what_is_not_understood_is_2_on_stderr_and_names_it(self):
        for wrong in [["grad"], ["--bad"], ["limits", "sho"], ["grade", "--bad", "a.png"],
                      ["limits", "show", "sm-upc", "more"]]:
            with self.subTest(wrong=wrong):
                done = run(*wrong)
                self.assertEqual((done.returncode, done.stdout), (2, ""))
                word = next(w for w in wrong if w in ["grad", "--bad", "sho", "more"])
                self.assertIn(word, done.stderr)
        for short in [[], ["grade"], ["limits"], ["limits", "show"], ["limits", "check"]]:
            self.assertEqual(run(*short).returncode, 2)

    def test_program_does_not_load_what_only_tiff_and_bmp_need(self):
        needed = subprocess.run(["ldd", ENDGRADE], capture_output=True, text=True,
                                check=True).stdout
        self.assertIn("opencv_core", needed)
        self.assertIsNone(re.search("opencv_imgcodecs|gdal", needed))


class LimitsTest(unittest.TestCase):
    def test_list_has_the_shipped_limits(self):
        done = run("limits", "list")
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        for limits in ["sm-upc", "sm-pc", "sm-apc", "mm-pc"]:
            self.assertRegex(done.stdout, rf"(?m)^{limits}\b")

    def test_show_reads_out_an_id(self):
        done = run("limits", "show", "sm-upc")
        self.assertEqual(done.returncode, 0)
        self.assertIn("250", done.stdout)

    def test_show_of_none_there_is_2_and_lists_those_there_are(self):
        done = run("limits", "show", "sm-opc")
        self.assertEqual((done.returncode, done.stdout), (2, ""))
        self.assertIn("sm-upc", done.stderr)

    def test_check_is_0_for_good_and_2_with_file_and_line_for_bad(self):
        zones = os.path.join(os.environ["ENDGRADE_SOURCE_DIR"], "zones")
        good = [os.path.join(folder, name) for folder, _, names in os.walk(zones)
                for name in names if name.endswith(".toml") and name != "advice.toml"]
        self.assertGreaterEqual(len(good), 5)
        self.assertEqual(run("limits", "check", *good).returncode, 0)
        bad = os.path.join(os.environ["ENDGRADE_BINARY_DIR"], "usage-test-bad.toml")
        with open(bad, "w", encoding="utf-8") as file:
            file.write('id = "usage-test-bad"\ntitle = 3\n')
        self.addCleanup(os.remove, bad)
        done = run("limits", "check", bad)
        self.assertEqual(done.returncode, 2)
        self.assertIn("usage-test-bad.toml:2", done.stdout + done.stderr)


if __name__ == "__main__":
    unittest.main()
