"""Records of the demo pictures against the schema, and against themselves and the files they name."""

import hashlib
import json
import math
import os
import subprocess
import sys
import tempfile
import unittest
from pathlib import Path

import jsonschema
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent))
import faces  # noqa: E402

HERE = Path(__file__).parent
SCHEMA = json.loads((HERE / "endgrade.result-1.schema.json").read_text())
DEMO = Path(os.environ["ENDGRADE_SOURCE_DIR"]) / "images" / "demo"


def grade(limits, *paths):
    done = subprocess.run([os.environ["ENDGRADE"], "grade", "--json", "--limits", limits, *paths],
                          capture_output=True, timeout=200, check=False)
    return [json.loads(line, parse_constant=lambda word: sys.exit(f"{word} is not JSON"))
            for line in done.stdout.decode("utf-8").splitlines()]


class RecordTest(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.records = [record for folder in sorted(DEMO.iterdir()) if folder.is_dir()
                       for record in grade(folder.name, folder)]
        with tempfile.TemporaryDirectory() as folder:
            faces.empty().save(Path(folder) / "empty.png")
            (Path(folder) / "bad.png").write_bytes(b"not a picture")
            cls.others = grade("sm-upc", folder, Path(folder) / "gone.png")

    def test_there_is_something_to_check(self):
        self.assertGreaterEqual(len(self.records), 10)
        self.assertEqual({r["verdict"] for r in self.records}, {"pass", "fail", "ungradable"})
        self.assertTrue(any(f["features"] for r in self.records for f in r["fibres"]))
        self.assertEqual(len(self.others), 3)

    def test_every_record_fits_the_schema(self):
        validator = jsonschema.Draft202012Validator(SCHEMA)
        validator.check_schema(SCHEMA)
        for record in self.records + self.others:
            problems = [f"{record['image']['path']}: {'/'.join(map(str, e.absolute_path))}: "
                        f"{e.message[:200]}" for e in validator.iter_errors(record)]
            self.assertEqual(problems, [])

    def test_schema_refuses_a_record_that_says_less(self):
        validator = jsonschema.Draft202012Validator(SCHEMA)
        for key in SCHEMA["required"]:
            shorter = {k: v for k, v in self.records[0].items() if k != key}
            self.assertFalse(validator.is_valid(shorter), key)

    def test_image_is_the_file(self):
        for record in self.records:
            path = Path(record["image"]["path"])
            self.assertEqual(record["image"]["sha256"],
                             hashlib.sha256(path.read_bytes()).hexdigest())
            with Image.open(path) as image:  # demo pictures are stored upright
                self.assertEqual((record["image"]["width_px"], record["image"]["height_px"]),
                                 image.size)

    def test_limits_name_their_bytes(self):
        zones = Path(os.environ["ENDGRADE_SOURCE_DIR"]) / "zones"
        for record in self.records:
            file = next(zones.rglob(f"{record['limits']['id']}.toml"))
            if "extends" not in file.read_text():
                self.assertEqual(record["limits"]["sha256"],
                                 hashlib.sha256(file.read_bytes()).hexdigest())

    def test_verdict_follows_from_the_rules(self):
        for record in self.records:
            for fibre in record["fibres"]:
                all_met = all(rule["met"] for rule in fibre["rules"])
                self.assertEqual(fibre["verdict"] == "fail", not all_met, record["image"]["path"])
                self.assertEqual(record["verdict"], fibre["verdict"])

    def test_rules_count_what_the_features_say(self):
        for record in self.records:
            for fibre in record["fibres"]:
                zones = {zone["name"] for zone in fibre["zones"]}
                broken = {rule["id"] for rule in fibre["rules"] if not rule["met"]}
                named = {rule for feature in fibre["features"] for rule in feature["breaks"]}
                self.assertEqual(broken, named, record["image"]["path"])
                for feature in fibre["features"]:
                    self.assertIn(feature["zone"], zones | {None})
                for rule in fibre["rules"]:
                    self.assertIn(rule["zone"], zones)
                    if rule["allowed"] is not None:
                        self.assertEqual(rule["met"], rule["found"] <= rule["allowed"])

    def test_a_feature_is_where_it_says_in_both_coordinates(self):
        for record in self.records:
            for fibre in record["fibres"]:
                for feature in fibre["features"]:
                    px = math.dist(feature["centre_px"], fibre["centre_px"]) * fibre["um_per_px"]
                    um = math.hypot(*feature["centre_um"])
                    # Pixels may be non-square by up to 5 %.
                    self.assertAlmostEqual(px, um, delta=0.06 * um + 0.01)


if __name__ == "__main__":
    unittest.main()
