"""The pictures and sample outputs of README and docs that are made anew, and whether any is stale.

A sample output stands in a page between fences, below a line that names its command:
`<!-- made by: ebbline read examples/labour.csv -->`.

python -m bench.pictures           makes them anew
python -m bench.pictures --check   fails when one differs from what the code draws now
"""

from __future__ import annotations

import argparse
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import ebbline
from ebbline.picture.svg import svg

ROOT = Path(__file__).parents[1]


def strip() -> str:
    """The first page: the example, read and drawn, stamped with what it was made from."""
    recording = ebbline.open(ROOT / "examples" / "labour.csv")
    drawing = ebbline.plot(recording, ebbline.read(recording), speed=1)
    stamp = "<!-- Made by python -m bench.pictures from examples/labour.csv -->\n"
    return svg(drawing.pages[0]).replace("<title>", stamp + "<title>", 1)


MADE_BY = re.compile(r"<!-- made by: ebbline (.+?) -->\n```\n(.*?)```\n", re.DOTALL)


def with_outputs(text: str) -> str:
    """A page with every sample output as the command line gives it now."""
    return MADE_BY.sub(
        lambda found: f"<!-- made by: ebbline {found[1]} -->\n```\n{_output(found[1])}```\n", text
    )


def _output(command: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "ebbline", *shlex.split(command)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "COLUMNS": "88"},
    )
    return done.stdout.strip("\n") + "\n"


def pages() -> list[Path]:
    """README and the documentation, where a page holds a sample output."""
    every = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
    return [page for page in every if MADE_BY.search(page.read_text("utf-8"))]


PICTURES: dict[str, Callable[[], str]] = {"docs/img/strip.svg": strip}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true", help="fail when a picture is stale")
    asked = parser.parse_args()
    stale = []
    for name, make in PICTURES.items():
        path, made = ROOT / name, make()
        if asked.check:
            if not path.is_file() or _plain(path.read_text("utf-8")) != _plain(made):
                stale.append(name)
        else:
            path.write_text(made, encoding="utf-8")
            print(f"wrote {name}")
    for page in pages():
        text = page.read_text("utf-8")
        anew = with_outputs(text)
        if asked.check and _plain(text) != _plain(anew):
            stale.append(str(page.relative_to(ROOT)))
        elif not asked.check and text != anew:
            page.write_text(anew, encoding="utf-8")
            print(f"wrote {page.relative_to(ROOT)}")
    if stale:
        sys.exit(f"stale: {', '.join(stale)}. Make them anew: python -m bench.pictures")


def _plain(text: str) -> str:
    """The words and shapes, without the last digit of places: processors round it differently."""
    return re.sub(r"(\d+)\.\d+", r"\1", text)


if __name__ == "__main__":
    main()
