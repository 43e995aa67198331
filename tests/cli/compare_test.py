"""The command `endgrade compare` as a person and a script see it."""

import hashlib
import json
import os
import re
import subprocess
import tempfile
import unittest
from html.parser import HTMLParser
from pathlib import Path

import jsonschema
from PIL import Image

ENDGRADE = os.environ["ENDGRADE"]
SOURCE = Path(os.environ["ENDGRADE_SOURCE_DIR"])
DEMO = SOURCE / "images" / "demo" / "sm-upc"
# By images/demo/README.md one face, before and after a cleaning, turned by 7 degrees in between.
BEFORE = DEMO / "berth-1-port-02-before.jpg"
AFTER = DEMO / "berth-1-port-02-after.jpg"
SCHEMA = json.loads((SOURCE / "tests/cli/endgrade.comparison-1.schema.json").read_text())


def run(*arguments, limits=("--limits", "sm-upc")):
    return subprocess.run([ENDGRADE, "compare", *limits, *map(str, arguments)], capture_output=True,
                          text=True, timeout=120, check=False)


class Page(HTMLParser):
    """Checks that tags close in order and gathers what a page would fetch."""

    VOID = {"meta", "img", "input", "br", "link"}

    def __init__(self):
        super().__init__()
        self.open, self.fetches, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.fetches += [v for k, v in attrs if k in ("src", "href") and not v.startswith(("data:", "#"))]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        pass

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, tag

    def handle_data(self, data):
        self.text.append(data)


class CompareTest(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = Path(folder.name)
        self.out = self.folder / "cleaned"

    def test_words_say_what_went_what_stayed_and_what_next(self):
        done = run(BEFORE, AFTER)
        self.assertEqual((done.returncode, done.stderr), (0, ""))  # the last one passes
        for words in ["6 gone, 1 still there", "7.0 degrees clockwise", "likely permanent", "Next: ",
                      "Check for optical power"]:
            self.assertIn(words, done.stdout)
        self.assertEqual(run(AFTER, BEFORE).returncode, 1)  # and the other way round the last fails

    def verify(self, *arguments):
        return subprocess.run([ENDGRADE, "verify", *map(str, arguments)], capture_output=True, text=True,
                              timeout=120, check=False)

    def test_page_and_pictures_carry_their_records_and_verify_compares_again(self):
        run("--out", self.out, BEFORE, AFTER)
        for name in ["comparison.html", "side-by-side.png", "difference.png"]:
            done = self.verify(self.out / name)
            self.assertEqual((done.returncode, done.stderr), (0, ""), name)
            self.assertIn("what became of each thing is the same", done.stdout)
            self.assertIn("byte for byte", done.stdout)
        # A word changed on the page; the same with its digest made to match; other pictures' pixels.
        page = (self.out / "comparison.html").read_text()
        mark = 'data-sha256="'
        at = page.index(mark) + len(mark)
        edited = page.replace("6 gone", "5 gone")
        self.assertNotEqual(edited, page)
        forged = edited[:at] + "0" * 64 + edited[at + 64:]
        forged = forged.replace("0" * 64, hashlib.sha256(forged.encode()).hexdigest(), 1)
        for text, says in [(edited, "does not have its digest"), (forged, "is not what this program makes")]:
            (self.out / "edited.html").write_text(text)
            done = self.verify(self.out / "edited.html")
            self.assertEqual(done.returncode, 1)
            self.assertIn(says, done.stderr)
        elsewhere = self.folder / "elsewhere"  # photographs under other names, told by their hash
        elsewhere.mkdir()
        (elsewhere / "1.jpg").write_bytes(BEFORE.read_bytes())
        self.assertEqual(self.verify("--photograph", elsewhere, self.out / "comparison.html").returncode, 3)
        (elsewhere / "2.jpg").write_bytes(AFTER.read_bytes())
        self.assertEqual(self.verify("--photograph", elsewhere, self.out / "comparison.html").returncode, 0)

    def test_out_has_record_pictures_and_page_and_nothing_else(self):
        done = run("--out", self.out, BEFORE, AFTER)
        self.assertEqual(done.stderr, "")
        self.assertEqual(sorted(p.name for p in self.out.iterdir()),
                         ["comparison.html", "comparison.json", "difference.png", "side-by-side.png"])
        record = json.loads((self.out / "comparison.json").read_text())
        jsonschema.validate(record, SCHEMA)
        self.assertEqual(record["counts"], {"gone": 6, "still_there": 1, "moved": 0, "new": 0, "cannot_tell": 0})
        # Scene files: rotation_deg 7 after, 0 before; both fates of features are in their lists.
        self.assertAlmostEqual(record["pairs"][0]["rotation_deg"], 7, delta=0.2)
        for name in ["difference.png", "side-by-side.png"]:
            with Image.open(self.out / name) as picture:
                picture.load()
                self.assertGreater(picture.width, 900)
        html = (self.out / "comparison.html").read_text()
        page = Page()
        page.feed(html)
        self.assertEqual(page.open, [])
        self.assertEqual(page.fetches, [])  # works without a network
        self.assertEqual(html.count("data:image/jpeg"), 2)
        self.assertIn("Check for optical power", "".join(page.text))

    def test_same_bytes_again(self):
        first, second = (run("--json", BEFORE, AFTER).stdout for _ in range(2))
        self.assertEqual(first, second)
        jsonschema.validate(json.loads(first), SCHEMA)

    def test_a_series_follows_each_thing_and_ends_with_the_last_verdict(self):
        again = self.folder / "again.png"  # other bytes, the same face
        with Image.open(AFTER) as picture:
            picture.save(again)
        done = run("--json", BEFORE, AFTER, again)
        record = json.loads(done.stdout)
        jsonschema.validate(record, SCHEMA)
        self.assertEqual(len(record["pairs"]), 2)
        stayed = [t for t in record["things"] if t["fate"] == "still_there"]
        self.assertEqual([t["cleanings_survived"] for t in stayed], [2])
        self.assertTrue(all(len(t["steps"]) == 3 for t in record["things"]))

    def test_names_that_are_markup_stay_text(self):
        odd = self.folder / "<script>alert(1)<" / "b&\"c'.jpg"
        odd.parent.mkdir()
        odd.write_bytes(AFTER.read_bytes())
        done = run("--out", self.out, BEFORE, odd)
        self.assertEqual(done.returncode, 0)
        html = (self.out / "comparison.html").read_text()
        self.assertEqual(len(re.findall("<script>", html)), 1)
        self.assertNotIn("b&\"c", html)

    def test_own_advice_is_said_and_a_mistake_in_it_is_named(self):
        text = (SOURCE / "zones" / "advice.toml").read_text()
        own = self.folder / "own.toml"
        own.write_text(text.replace("This face passes.", "Well done."))
        self.assertIn("Well done.", run("--advice", own, BEFORE, AFTER).stdout)
        own.write_text(text.replace('action = "clean_dry"', 'action = "scrub"'))
        done = run("--advice", own, BEFORE, AFTER)
        self.assertEqual((done.returncode, done.stdout), (2, ""))
        self.assertRegex(done.stderr, r"own\.toml:\d+: .*action.*clean_dry")

    def test_mistakes_are_2_and_named(self):
        missing = self.folder / "gone.png"
        for arguments, limits, word in [((BEFORE, missing), ("--limits", "sm-upc"), "gone.png"),
                                        ((BEFORE,), ("--limits", "sm-upc"), "two"),
                                        ((BEFORE, BEFORE), ("--limits", "sm-upc"), "same photograph"),
                                        ((BEFORE, AFTER), (), "sm-upc"),
                                        (("--out", DEMO, BEFORE, AFTER), ("--limits", "sm-upc"), "--out")]:
            with self.subTest(arguments=arguments):
                done = run(*arguments, limits=limits)
                self.assertEqual((done.returncode, done.stdout), (2, ""))
                self.assertIn(word, done.stderr)


if __name__ == "__main__":
    unittest.main()
