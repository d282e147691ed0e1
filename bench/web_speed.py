"""How quick the workbench is, measured and printed: start, upload to reading, frames while panning.

    python -m bench.web_speed [--runs 5]

Needs Chromium. Frames are measured without a graphics card (all drawing by the processor), so a
computer with one does better.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from dataclasses import replace
from pathlib import Path
from typing import Any

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
START = [sys.executable, "-c", "from ebbline.cli.main import main; main()", "serve", "--port", "0"]
VIEWS = (("12 h", 12 * 3600), ("4 h", 4 * 3600), ("1 h", 3600), ("5 min", 300), ("1 min", 60))

PAN = """async (seconds) => {
  const strip = document.getElementById("strip").strip;
  const spp = seconds / strip.wide;
  strip.goto(3600, spp, false);
  await new Promise((done) => setTimeout(done, 300));
  const gaps = [];
  const work = [];
  let last = null;
  await new Promise((done) => {
    const frame = (now) => {
      if (last !== null) gaps.push(now - last);
      last = now;
      const begun = performance.now();
      strip.t0 += 7 * spp;
      strip.paint();
      work.push(performance.now() - begun);
      if (gaps.length < 240) requestAnimationFrame(frame);
      else done();
    };
    requestAnimationFrame(frame);
  });
  return { gaps, work };
}"""


def spread(values: list[float], unit: str) -> str:
    """Median and extremes of some times."""
    low, high = min(values), max(values)
    return f"median {statistics.median(values):.0f} {unit} ({low:.0f} to {high:.0f})"


class Served:
    """`ebbline serve` as a user starts it, on a store of its own."""

    def __init__(self, store: Path) -> None:
        begun = time.perf_counter()
        self.process = subprocess.Popen(
            [*START, "--store", str(store)], stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().split()[-1]
        self.opened_ms = 1000 * (time.perf_counter() - begun)
        page_begun = time.perf_counter()
        with urllib.request.urlopen(self.address, timeout=30) as page:
            page.read()
        self.page_ms = 1000 * (time.perf_counter() - page_begun)
        self.total_ms = 1000 * (time.perf_counter() - begun)

    def close(self) -> None:
        """End it."""
        self.process.terminate()
        self.process.wait(10)


def start(runs: int) -> None:
    """From the command to the first page."""
    opened, page, total = [], [], []
    with tempfile.TemporaryDirectory() as directory:
        for _ in range(runs):
            served = Served(Path(directory) / "w.sqlite")
            opened.append(served.opened_ms)
            page.append(served.page_ms)
            total.append(served.total_ms)
            served.close()
    print(f"first page, once it says that it is open: {spread(page, 'ms')}")
    print(f"  from the command to 'open':             {spread(opened, 'ms')}")
    print(f"  from the command to the first page:     {spread(total, 'ms')}")


def upload(browser: Any, runs: int) -> None:
    """From choosing a 90-minute recording to its strip and reading on the screen."""
    from ebbline.recording import save_recording
    from ebbline.web.recordings.demo_cases import invented_recording

    with tempfile.TemporaryDirectory() as directory:
        place = Path(directory)
        save_recording(invented_recording("late"), place / "labour.hea")
        save_recording(invented_recording("late"), place / "labour.csv")
        files = {
            "WFDB": [str(path) for path in sorted(place.glob("labour.*")) if path.suffix != ".csv"],
            "CSV": [str(place / "labour.csv")],
        }
        for kind, chosen in files.items():
            first: list[float] = []
            later: list[float] = []
            for _ in range(runs):
                served = Served(place / f"{kind}.sqlite")
                context = browser.new_context(viewport={"width": 1280, "height": 900})
                page = context.new_page()
                for times in (first, later):
                    page.goto(served.address)
                    if times is first:
                        page.wait_for_timeout(1500)  # as long as a person needs to choose a file
                    begun = time.perf_counter()
                    page.set_input_files("#files", chosen)
                    page.wait_for_selector("#class-bar .class-chip, #class-bar .class-window")
                    page.wait_for_selector("#strip:not([aria-busy]) canvas")
                    times.append(1000 * (time.perf_counter() - begun))
                context.close()
                served.close()
            print(f"90-minute recording ({kind}) to drawn reading, first:  {spread(first, 'ms')}")
            print(f"90-minute recording ({kind}) to drawn reading, second: {spread(later, 'ms')}")


def frames(browser: Any) -> None:
    """Frame times while panning a recording of 24 hours."""
    from ebbline.web.app import create_app
    from ebbline.web.recordings.demo_cases import invented_recording
    from ebbline.web.settings import Settings

    with tempfile.TemporaryDirectory() as directory:
        store = Path(directory) / "w.sqlite"
        library = create_app(Settings(store=store)).state.library
        recording = replace(invented_recording("long-labour"), name="24 hours")
        key = library.add(recording, by="bench", invented=True).id
        served = Served(store)
        for width, height in ((1280, 900), (1920, 1080)):
            context = browser.new_context(viewport={"width": width, "height": height})
            page = context.new_page()
            begun = time.perf_counter()
            page.goto(f"{served.address}recordings/{key}")
            page.wait_for_selector("#strip:not([aria-busy]) canvas")
            page.wait_for_selector("#class-bar .class-chip, #class-bar .class-window")
            took = 1000 * (time.perf_counter() - begun)
            print(f"24 hours opened at {width} x {height}: {took:.0f} ms")
            for words, seconds in VIEWS:
                told = page.evaluate(PAN, seconds)
                gaps = sorted(told["gaps"])
                late = sum(gap > 25 for gap in gaps)
                print(
                    f"  panning, {words:>5} in view: {1000 / statistics.mean(gaps):5.1f} frames/s,"
                    f" frame median {statistics.median(gaps):.1f} ms,"
                    f" 95 % {gaps[int(0.95 * len(gaps))]:.1f} ms, worst {gaps[-1]:.1f} ms,"
                    f" {late} of {len(gaps)} late; script {statistics.median(told['work']):.1f} ms"
                )
            context.close()
        served.close()


def main() -> None:
    """Measure and print."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--runs", type=int, default=5)
    runs = asked.parse_args().runs
    start(runs)
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        print("no Chromium on this computer: uploads and frames not measured")
        return
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        print(f"Chromium {browser.version}, drawing by the processor alone")
        upload(browser, runs)
        frames(browser)
        browser.close()


if __name__ == "__main__":
    main()
