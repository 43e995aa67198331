"""Measures `endgrade lot` on a folder of photographs. Usage:

bench.py ENDGRADE PHOTOGRAPHS speed|overhead|kills [KILLS]|report

speed     one core against two, and memory from picture 100 to the last
overhead  user time of `lot` over that of `grade`, on one core, in turns
kills     kills at random moments (of each run, which goes on from the last), then compares stores
report    opens the report in headless Chromium: load, filter, sort, scroll
"""

import json
import pathlib
import random
import re
import resource
import shutil
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request

ENDGRADE, PHOTOGRAPHS = sys.argv[1], pathlib.Path(sys.argv[2]).resolve()
CHROMIUM = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic",
            "--no-first-run", "--disable-background-networking", "--disable-component-update",
            "--disable-sync"]


def lot(out, threads, cores=None):
    command = ["taskset", "-c", cores] if cores else []
    return command + [ENDGRADE, "lot", "--limits", "sm-upc", "--threads", str(threads), "--out",
                      str(out), str(PHOTOGRAPHS)]


def rows(store):
    with sqlite3.connect(f"file:{store}?mode=ro", uri=True) as database:
        return database.execute("SELECT * FROM photograph ORDER BY seq").fetchall()


def count(store):
    try:
        with sqlite3.connect(f"file:{store}?mode=ro", uri=True) as database:
            return database.execute("SELECT coalesce(max(seq), 0) FROM photograph").fetchone()[0]
    except sqlite3.OperationalError:
        return 0


def resident_mb(pid):
    text = pathlib.Path(f"/proc/{pid}/status").read_text()
    found = re.search(r"VmRSS:\s+(\d+) kB", text)
    return int(found[1]) / 1024 if found else None


def timed(out, threads, cores):
    """Seconds of the grading, and (pictures done, MB) once a second."""
    start = time.monotonic()
    process = subprocess.Popen(lot(out, threads, cores), stdout=subprocess.DEVNULL,
                               stderr=subprocess.DEVNULL)
    memory = []
    while process.poll() is None:
        time.sleep(1)
        try:
            done, mb = count(out / "lot.sqlite"), resident_mb(process.pid)
        except (FileNotFoundError, ProcessLookupError):
            continue
        if mb:
            memory.append((done, mb))
    return time.monotonic() - start, memory


def speed(work):
    number = len(list(PHOTOGRAPHS.iterdir()))
    one, _ = timed(work / "one", 1, "0")
    two, memory = timed(work / "two", 2, "0,1")
    print(f"{number} pictures: {number / one:.1f}/s on one core, {number / two:.1f}/s on two: "
          f"{one / two:.2f} times")
    graded = [(done, mb) for done, mb in memory if 100 <= done < number]
    for part in range(0, 11):
        at = graded[min(len(graded) - 1, part * len(graded) // 10)]
        print(f"  at picture {at[0]}: {at[1]:.1f} MB")


def user_s(command):
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def overhead(work):
    ratios = []
    for turn in range(5):
        out = work / f"out{turn}"
        grade = user_s(["taskset", "-c", "0", ENDGRADE, "grade", "--json", "--limits", "sm-upc",
                        "--threads", "1", str(PHOTOGRAPHS)])
        whole = user_s(lot(out, 1, "0"))
        present = user_s(lot(out, 1, "0"))  # nothing left to grade: chain check and report
        ratios.append(((whole - present) / grade - 1, present / grade))
        print(f"  grade {grade:.2f} s, lot {whole:.2f} s, of that report {present:.2f} s")
    print(f"store and thumbnails {100 * statistics.median(r[0] for r in ratios):.1f} %, "
          f"report {100 * statistics.median(r[1] for r in ratios):.1f} % of the grading")


def kills(work):
    wanted = int(sys.argv[4]) if len(sys.argv) > 4 else 50
    start = time.monotonic()
    subprocess.run(lot(work / "whole", 2), stdout=subprocess.DEVNULL, check=False)
    whole_s = time.monotonic() - start
    chance = random.Random(1)
    killed = 0
    while killed < wanted:
        process = subprocess.Popen(lot(work / "killed", 2), stdout=subprocess.DEVNULL,
                                   stderr=subprocess.DEVNULL)
        time.sleep(chance.uniform(0, 1.4 * whole_s / wanted))
        process.kill()
        if process.wait() == -signal.SIGKILL:
            killed += 1
        elif killed < wanted:
            break
    at_last_kill = count(work / "killed/lot.sqlite")
    subprocess.run(lot(work / "killed", 2), stdout=subprocess.DEVNULL, check=False)
    same = rows(work / "killed/lot.sqlite") == rows(work / "whole/lot.sqlite")
    verified = subprocess.run([ENDGRADE, "store", "verify", work / "killed/lot.sqlite"],
                              stdout=subprocess.DEVNULL, check=False).returncode == 0
    reports = [(work / name / "report.html").read_bytes() for name in ("killed", "whole")]
    print(f"{killed} kills, the last at picture {at_last_kill} of "
          f"{len(rows(work / 'whole/lot.sqlite'))}: store "
          f"{'identical' if same else 'DIFFERENT'}, chain {'whole' if verified else 'BROKEN'}, "
          f"report {'identical' if reports[0] == reports[1] else 'DIFFERENT'}")
    return 0 if same and verified else 1


PROBE = """new Promise(answer => {
  const said = [];
  const timed = (name, id, event, value) => {
    const start = performance.now();
    const control = document.getElementById(id);
    control.value = value;
    control.dispatchEvent(new Event(event));
    document.body.offsetHeight;
    said.push(name + " " + (performance.now() - start).toFixed(0) + " ms");
  };
  timed("first search", "find", "input", "cord-00");
  timed("search", "find", "input", "");
  timed("filter", "verdict", "change", "fail");
  timed("all", "verdict", "change", "");
  timed("sort", "order", "change", "state");
  const frames = [];
  let last = performance.now(), y = 0;
  const step = () => {
    const now = performance.now();
    frames.push(now - last);
    last = now;
    scrollTo(0, y += 900);
    if (frames.length < 240) return requestAnimationFrame(step);
    frames.sort((a, b) => a - b);
    said.push("240 frames of 900 px: median " + frames[120].toFixed(0) + " ms, 95 % " +
              frames[228].toFixed(0) + " ms, worst " + frames[239].toFixed(0) + " ms");
    answer(said.join("; "));
  };
  requestAnimationFrame(step);
})"""


class Browser:
    """Headless Chromium, spoken to over its debugging socket."""

    def __init__(self, work):
        import websocket  # Debian: python3-websocket; only the report wants it

        profile = pathlib.Path(tempfile.mkdtemp(dir=work))
        self.process = subprocess.Popen(
            CHROMIUM + [f"--user-data-dir={profile}", "--window-size=1280,900",
                        "--remote-debugging-port=0", "--remote-allow-origins=*", "about:blank"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        port_file = profile / "DevToolsActivePort"
        while not port_file.exists() or not port_file.read_text().strip():
            time.sleep(0.05)
        port = port_file.read_text().split()[0]
        pages = json.loads(urllib.request.urlopen(f"http://127.0.0.1:{port}/json").read())
        page = next(page for page in pages if page["type"] == "page")
        self.socket = websocket.create_connection(page["webSocketDebuggerUrl"], timeout=60)
        self.number = 0

    def call(self, method, until=None, **parameters):
        """The answer to a call; or, with `until`, returns when that event comes."""
        self.number += 1
        self.socket.send(json.dumps({"id": self.number, "method": method, "params": parameters}))
        while True:
            message = json.loads(self.socket.recv())
            if until and message.get("method") == until:
                return message
            if not until and message.get("id") == self.number:
                return message.get("result")

    def close(self):
        self.socket.close()
        self.process.terminate()
        self.process.wait()


def report(work):
    path = PHOTOGRAPHS.with_name(PHOTOGRAPHS.name + "-graded") / "report.html"
    if not path.exists():
        subprocess.run(lot(path.parent, 2), stdout=subprocess.DEVNULL, check=False)
    print(f"{path.stat().st_size / 1e6:.1f} MB, {path.read_text().count('<article')} cords")
    for _ in range(3):
        browser = Browser(work)
        browser.call("Page.enable")
        start = time.monotonic()
        browser.call("Page.navigate", until="Page.loadEventFired", url=path.as_uri())
        browser.call("Runtime.evaluate", awaitPromise=True, expression="new Promise(done => "
                     "requestAnimationFrame(() => setTimeout(done)))")
        opened = time.monotonic() - start
        answer = browser.call("Runtime.evaluate", expression=PROBE, awaitPromise=True)
        print(f"  opened and painted in {opened:.2f} s; {answer['result'].get('value')}")
        browser.close()


def main():
    work = pathlib.Path(tempfile.mkdtemp(prefix="bench-lot-"))
    try:
        return {"speed": speed, "overhead": overhead, "kills": kills, "report": report}[
            sys.argv[3]](work)
    finally:
        shutil.rmtree(work, ignore_errors=True)


if __name__ == "__main__":
    sys.exit(main())
