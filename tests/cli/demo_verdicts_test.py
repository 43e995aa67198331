"""The demo pictures get the verdicts that their README promises."""

import json
import os
import pathlib
import re
import subprocess
import unittest

DEMO = pathlib.Path(os.environ["ENDGRADE_SOURCE_DIR"]) / "images" / "demo"


def promised():
    rows = re.findall(r"^\| \[([^\]]+\.jpg)\].*\| (pass|fail|ungradable) \|$", (DEMO / "README.md").read_text(), re.M)
    return dict(rows)


def graded(name):
    limits = name.split("/")[0]
    command = [os.environ["ENDGRADE"], "grade", "--limits", limits, "--json", str(DEMO / name)]
    done = subprocess.run(command, check=False, stdout=subprocess.PIPE, text=True)
    return json.loads(done.stdout)["verdict"]


class DemoVerdicts(unittest.TestCase):
    def test_every_picture_gets_the_verdict_that_the_readme_promises(self):
        verdicts = promised()
        self.assertGreaterEqual(len(verdicts), 12)
        for name, verdict in sorted(verdicts.items()):
            with self.subTest(picture=name):
                self.assertEqual(graded(name), verdict)


if __name__ == "__main__":
    unittest.main()
