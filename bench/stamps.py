"""What was made from what: the stamps of measured pages and pictures, and which stand behind.

    python -m bench.stamps                       # tells which stand behind, and for how long
    python -m bench.stamps --check               # and ends with 1 where one has for too long
    python -m bench.stamps --made docs/panel.md  # after it was made anew

A page is made from sources: the rooms that it measures and the bench that measures. The stamp is a
hash of them (of Python the syntax tree, so that comments, docstrings and layout change nothing) in
docs/stamps.json, with the day. A page whose sources have changed since is told as standing behind.
Making all pages anew takes hours, so that is no fault for a while: it is one when the newest commit
to a source is more than GRACE_DAYS younger than the stamp. That depends on the commits alone, not
on the day of the check, so a checkout that was sound stays so.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import json
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path

ROOT = Path(__file__).parents[1]
KEPT = ROOT / "docs" / "stamps.json"
GRACE_DAYS = 7

_READING = ("src/ebbline/signal/*.py", "src/ebbline/features/*.py")
SOURCES: dict[str, tuple[str, ...]] = {
    "docs/accuracy.md": (*_READING, "src/ebbline/synth/*.py", "bench/accuracy/*.py"),
    "docs/panel.md": (*_READING, "src/ebbline/criteria/panel*", "bench/panel*.py"),
    "docs/generator.md": ("src/ebbline/synth/*.py", "bench/realism/*.py"),
    "docs/calibration.md": ("src/ebbline/bedside/*.py", "bench/exam_rates.py"),
    "docs/archive.md": ("src/ebbline/cohort/**/*.py", "bench/archive.py"),
    "docs/live.md": (
        "src/ebbline/live/*.py",
        "bench/live.py",
        "bench/beds.py",
        "bench/kill_live.py",
    ),
    "docs/paper.md": ("src/ebbline/recording/paper/*.py", "bench/paper/*.py"),
    "docs/install.md": ("requirements/run.txt", "bench/install_size.py"),
    "docs/img/workbench-*.png": (
        *("src/ebbline/web/templates/*", "src/ebbline/web/static/**/*"),
        *("src/ebbline/web/recordings/templates/*", "src/ebbline/web/recordings/static/*"),
        *("src/ebbline/web/reading/templates/*", "src/ebbline/web/reading/static/*"),
        *("src/ebbline/web/examination/templates/*", "src/ebbline/web/examination/static/*"),
        "src/ebbline/web/report/templates/*",
    ),
    "docs/img/teaching-*.png": (
        *("src/ebbline/web/templates/*", "src/ebbline/web/static/**/*"),
        *("src/ebbline/web/teaching/templates/*", "src/ebbline/web/teaching/static/*"),
        *("src/ebbline/web/classroom/templates/*", "src/ebbline/web/classroom/static/*"),
    ),
}
"""What each is made from: patterns below the project."""


def sources(page: str, root: Path = ROOT) -> list[Path]:
    """The files that a page is made from."""
    found = {path for pattern in SOURCES[page] for path in root.glob(pattern)}
    return sorted(path for path in found if path.is_file() and "__pycache__" not in path.parts)


def digest(page: str, root: Path = ROOT) -> str:
    """A hash of what the page is made from."""
    made = hashlib.sha256()
    for path in sources(page, root):
        made.update(path.relative_to(root).as_posix().encode())
        made.update(_meaning(path))
    return made.hexdigest()[:16]


def _meaning(path: Path) -> bytes:
    """Of Python the syntax tree without docstrings; of anything else its bytes."""
    if path.suffix != ".py":
        return path.read_bytes()
    tree = ast.parse(path.read_bytes())
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list):
            node.body = [  # type: ignore[attr-defined]
                one
                for one in body
                if not (isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant))
            ]
    return ast.dump(tree).encode()


def made(page: str) -> None:
    """Stamp a page as made from what is here now."""
    kept = json.loads(KEPT.read_text("utf-8")) if KEPT.is_file() else {}
    kept[page] = {"made_from": digest(page), "on": datetime.now(UTC).date().isoformat()}
    KEPT.write_text(json.dumps(kept, indent=1, sort_keys=True) + "\n", "utf-8")
    print(f"stamped {page}")


def newest(page: str) -> date | None:
    """The day of the newest commit to a source; None where git does not tell."""
    paths = [str(path.relative_to(ROOT)) for path in sources(page)]
    try:
        said = subprocess.run(
            ["git", "log", "-1", "--format=%cs", "--", *paths],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        ).stdout.strip()
    except (OSError, subprocess.CalledProcessError):
        return None
    return date.fromisoformat(said) if said else None


def behind(page: str) -> tuple[int, str] | None:
    """How many days a page has stood behind, and words; None where it does not."""
    kept = json.loads(KEPT.read_text("utf-8")) if KEPT.is_file() else {}
    if page not in kept:
        return GRACE_DAYS + 1, f"{page} was never stamped"
    if kept[page]["made_from"] == digest(page):
        return None
    last = newest(page)
    days = 0 if last is None else max(0, (last - date.fromisoformat(kept[page]["on"])).days)
    return days, f"{page} was made on {kept[page]['on']} from other sources than these"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true", help="end with 1 where too far behind")
    parser.add_argument("--made", nargs="*", choices=SOURCES, default=[], metavar="PAGE")
    asked = parser.parse_args()
    for page in asked.made:
        made(page)
    wrong = False
    for page in SOURCES:
        if found := behind(page):
            days, words = found
            late = days > GRACE_DAYS
            wrong |= late
            ends = "make it anew" if late else f"it may be so for {GRACE_DAYS} days"
            print(f"stamps: {words}: {ends}.", file=sys.stderr)
    return 1 if wrong and asked.check else 0


if __name__ == "__main__":
    sys.exit(main())
