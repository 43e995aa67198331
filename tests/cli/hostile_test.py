"""Names and texts of strangers through everything that is written, and pictures made to exhaust."""

import csv
import html.parser
import io
import json
import os
import re
import resource
import shutil
import struct
import subprocess
import sys
import tempfile
import time
import unittest
import zlib
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import faces  # noqa: E402

ENDGRADE = os.environ["ENDGRADE"]
SOURCE = Path(os.environ["ENDGRADE_SOURCE_DIR"])
SANITIZED = not (Path(os.environ["ENDGRADE_BINARY_DIR"]) / "tests" / "fault_shim.so").exists()

# Each begins a name "...-A-1.png". Formulas, scripts, control sequences, quotes, writing turned round,
# bytes that are no text.
HOSTILE = [b"=cmd|'x'!A0", b"+1+1", b"@SUM(1)", b"<img src=x onerror=alert(1)>", b"\"><script>alert(1)",
           b"'; DROP TABLE photograph; --", b"\x1b]0;owned\x07\x1b[2J", b"\xff\xfe\x80",
           "\u202egnp.exe".encode(), b"{{name}}", b"line\nbreak", b"</script><script>", b"%n%s%d",
           b"`touch owned`", b"$(touch owned)", b"&lt;", b"a,b\"c"]


def run(*arguments, **more):
    return subprocess.run([ENDGRADE, *arguments], capture_output=True, check=False, timeout=240,
                          **more)


class Page(html.parser.HTMLParser):
    """Elements and attributes of a page that could run something or fetch it."""

    def __init__(self, text):
        super().__init__()
        self.scripts, self.suspects = 0, []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.scripts += tag == "script"
        for name, value in attrs:
            if name.startswith("on") or re.match(r"\s*(javascript|https?):", value or ""):
                self.suspects.append((tag, name, value))
        if tag in ("iframe", "object", "embed", "link", "base") or "action" in dict(attrs):
            self.suspects.append((tag, attrs))


class HostileTest(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.work = Path(folder.name)

    def assert_quiet(self, output):
        """Nothing but newlines drives the terminal, and all is UTF-8."""
        self.assertIsNone(re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e]",
                                    output.decode("utf-8")), output)

    def lot(self):
        """A lot of hostile names, every third of them no picture, under hostile words."""
        photographs = self.work / "photographs"
        photographs.mkdir()
        faces._discs([]).resize((80, 60)).save(self.work / "small.png")
        for i, name in enumerate(HOSTILE):
            file = os.path.join(os.fsencode(photographs), name.replace(b"/", b"\\") + b"-A-1.png")
            if i % 3 == 1:
                Path(os.fsdecode(file)).write_bytes(b"\x89PNG\r\n\x1a\n")
            else:
                shutil.copyfile(self.work / "small.png", file)
        kind = photographs / "\x1b[31m<b>kind"
        kind.mkdir()
        shutil.copyfile(self.work / "small.png", kind / "c-A-1.png")
        limits = (SOURCE / "zones").rglob("sm-upc.toml")
        text = next(limits).read_text()
        text = re.sub(r'(?m)^title = .*$', 'title = "<script>alert(2)</script>"', text, count=1)
        text = re.sub(r'(?m)^id = .*$', 'id = "own-limits"', text, count=1)
        (self.work / "own-limits.toml").write_text(text)
        (self.work / "lot.toml").write_text(
            'schema = "endgrade.lot/1"\nname = "</title><script>alert(3)</script>"\n'
            'photographs = "photographs"\n'
            'pattern = ["{kind}/{cord}-A-{attempt}", "{cord}-{end}[-{attempt}]"]\n[limits]\ndefault = "own-limits.toml"\n')
        return run("lot", "--out", self.work / "out", self.work / "lot.toml")

    def test_hostile_names_do_nothing_anywhere(self):
        done = self.lot()
        self.assertIn(done.returncode, (0, 1, 2, 3), done.stderr)
        out = self.work / "out"
        self.assertTrue((out / "report.html").exists(), done.stderr)
        self.assert_quiet(done.stdout)
        self.assert_quiet(done.stderr)
        text = (out / "report.html").read_text("utf-8")
        page = Page(text)
        self.assertEqual(page.suspects, [])
        self.assertNotIn("<script>alert", text)
        harmless = self.work / "harmless"
        harmless.mkdir()
        shutil.copyfile(self.work / "small.png", harmless / "cord-0001-A-1.png")
        run("lot", "--limits", "sm-upc", "--out", self.work / "other", harmless)
        self.assertEqual(page.scripts, Page((self.work / "other/report.html").read_text()).scripts)
        stored = run("store", "export", out / "lot.sqlite").stdout
        for table in ((out / "faces.csv").read_bytes(), stored):
            self.assertIsNone(re.search(rb"[\x00-\x09\x0b\x0c\x0e-\x1f\x7f]", table))
            for row in csv.reader(io.StringIO(table.decode("utf-8"), newline="")):
                for cell in row:
                    self.assertFalse(re.match(r"[=+@\t\r]|-(?![\d.])", cell), row)
        self.assertEqual(run("store", "verify", out / "lot.sqlite").returncode, 0)
        lines = run("store", "export", "--format", "ndjson", out / "lot.sqlite").stdout
        self.assertEqual(len([json.loads(line) for line in lines.splitlines()]), len(HOSTILE) + 1)
        for name in HOSTILE:
            found = run("store", "find", out / "lot.sqlite", b"--cord=" + name)
            self.assert_quiet(found.stdout + found.stderr)
        self.assertFalse(list(self.work.rglob("owned")))

    def test_hostile_names_on_the_command_line_are_one_quiet_line_each(self):
        for verb in (["grade", "--limits", "sm-upc"], ["lot", "--limits", "sm-upc"],
                     ["explain", "--limits", "sm-upc"], ["store", "verify"], ["limits", "check"]):
            for name in HOSTILE:
                done = run(*verb, b"./" + name, cwd=self.work)
                self.assertIn(done.returncode, (1, 2), (verb, name, done))
                self.assert_quiet(done.stderr)
                self.assert_quiet(done.stdout)

    def test_a_path_in_a_lot_file_does_not_leave_its_folder(self):
        inside = self.work / "inside"
        inside.mkdir()
        (self.work / "outside").mkdir()
        faces.empty().save(self.work / "outside" / "cord-0001-A-1.png")
        (inside / "door").symlink_to(self.work / "outside")
        for path in ("../outside", "door", "door/../../outside", str(self.work / "outside"), "/etc"):
            (inside / "lot.toml").write_text(
                f'schema = "endgrade.lot/1"\nname = "a"\nphotographs = "{path}"\n'
                '[limits]\ndefault = "sm-upc"\n')
            done = run("lot", "--out", self.work / "out", inside / "lot.toml")
            self.assertEqual(done.returncode, 2, path)
            self.assertFalse((self.work / "out" / "lot.sqlite").exists(), path)

    # Bombs: small files that ask for much.

    def grade_bounded(self, name, content):
        """Grades it in 2 GB of address space; the record's reason, and how long it took."""
        (self.work / name).write_bytes(content)

        def bound():
            if not SANITIZED:
                resource.setrlimit(resource.RLIMIT_AS, (2 << 30, 2 << 30))

        start = time.monotonic()
        done = run("grade", "--limits", "sm-upc", "--json", "--threads", "1", self.work / name,
                   preexec_fn=bound)
        self.assertEqual(done.returncode, 2, done)
        self.assertLess(time.monotonic() - start, 60 if SANITIZED else 20, name)
        return json.loads(done.stdout)["reasons"][0]["text"]

    @staticmethod
    def png(width, height, rows, *chunks):
        def chunk(kind, body):
            return struct.pack(">I", len(body)) + kind + body + struct.pack(
                ">I", zlib.crc32(kind + body))

        head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
        return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + b"".join(chunk(*one) for one in chunks)
                + chunk(b"IDAT", zlib.compress(rows, 9)) + chunk(b"IEND", b""))

    def test_a_png_of_100000_by_100000_is_refused_by_its_header(self):
        text = self.grade_bounded("bomb.png", self.png(100_000, 100_000, bytes(100_001)))
        self.assertIn("100000 x 100000 pixels", text)

    def test_texts_and_profiles_that_unpack_to_gigabytes_are_not_unpacked(self):
        packer = zlib.compressobj(9)
        bomb = b"".join(packer.compress(bytes(1 << 20)) for _ in range(512)) + packer.flush()
        for kind, body in ((b"zTXt", b"a\0\0" + bomb), (b"iCCP", b"a\0\0" + bomb),
                           (b"iTXt", b"a\0\1\0\0\0" + bomb)):
            # A row short of whole, so that it ends as unreadable however it is taken.
            text = self.grade_bounded("bomb.png", self.png(64, 64, bytes(65 * 63), (kind, body)))
            self.assertIn("PNG", text)

    def test_a_tiff_with_strips_larger_than_the_file_is_refused(self):
        entries = [(256, 4, 90_000), (257, 4, 90_000), (258, 3, 8), (259, 3, 5), (262, 3, 1),
                   (273, 4, 200), (277, 3, 1), (278, 4, 90_000), (279, 4, 4_000_000_000)]
        body = b"II*\0\x08\0\0\0" + struct.pack("<H", len(entries))
        for tag, kind, value in entries:
            body += struct.pack("<HHII", tag, kind, 1, value)
        self.assertTrue(self.grade_bounded("bomb.tif", body + bytes(200)))
        small = body.replace(struct.pack("<I", 90_000), struct.pack("<I", 9_000))
        self.assertTrue(self.grade_bounded("bomb2.tif", small + bytes(200)))

    def test_folders_within_folders_end(self):
        deep = self.work / "deep"
        deep.mkdir()
        here = os.open(deep, os.O_RDONLY)
        for _ in range(1500):  # deeper than files may be open, and than a path may be long
            os.mkdir("a-folder", dir_fd=here)
            below = os.open("a-folder", os.O_RDONLY, dir_fd=here)
            os.close(here)
            here = below
        os.close(here)
        faces.empty().resize((80, 60)).save(deep / "a.png")
        done = run("grade", "--limits", "sm-upc", "--json", deep)
        self.assertEqual(len(done.stdout.splitlines()), 1)
        self.assertIn(done.returncode, (2, 3))
        subprocess.run(["rm", "-rf", deep], check=True)


if __name__ == "__main__":
    unittest.main()
