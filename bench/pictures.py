"""The pictures of README and docs that one command can make, and whether any is stale.

python -m bench.pictures           makes them anew
python -m bench.pictures --check   fails when one differs from what the code draws now
"""

from __future__ import annotations

import argparse
import re
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
    if stale:
        sys.exit(f"stale: {', '.join(stale)}. Make them anew: python -m bench.pictures")


def _plain(text: str) -> str:
    """The words and shapes, without the last digit of places: processors round it differently."""
    return re.sub(r"(\d+)\.\d+", r"\1", text)


if __name__ == "__main__":
    main()
