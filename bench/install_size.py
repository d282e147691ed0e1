"""How large each install is on disk: a clean environment for the base and for every extra.

    python -m bench.install_size            # all of them; needs `uv` and the package index
    python -m bench.install_size base web   # only these

Each is installed by itself with the pins of requirements/run.txt, without caches of byte code.
The table is the one in docs/install.md.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
MEGABYTE = 1e6


def extras() -> list[str]:
    """The extras of pyproject.toml in its order, "all" last."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return list(project["optional-dependencies"])


def pins() -> str:
    """The lock as plain constraints: its hashes would demand one for our own package too."""
    lock = (ROOT / "requirements" / "run.txt").read_text(encoding="utf-8")
    return "\n".join(re.findall(r"^[\w.\-\[\]]+==[^\s\\]+(?: ;[^\\\n]+)?", lock, re.M)) + "\n"


def installed_bytes(extra: str, constraints: Path, place: Path) -> int:
    """Bytes of all files below lib/ after installing the package with one extra ("" for none)."""
    subprocess.run(["uv", "venv", "-q", "--python", sys.executable, str(place)], check=True)
    wanted = f"ebbline[{extra}] @ {ROOT.as_uri()}" if extra else f"ebbline @ {ROOT.as_uri()}"
    python = str(place / "bin" / "python")
    words = ["uv", "pip", "install", "-q", "--python", python, "--constraint", str(constraints)]
    subprocess.run([*words, wanted], check=True)
    return sum(
        path.lstat().st_size
        for path in (place / "lib").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    )


def main() -> None:
    asked = sys.argv[1:] or ["base", *extras()]
    with tempfile.TemporaryDirectory() as made:
        constraints = Path(made) / "pins.txt"
        constraints.write_text(pins(), encoding="utf-8")
        sizes = {
            name: installed_bytes("" if name == "base" else name, constraints, Path(made) / name)
            for name in asked
        }
    base = sizes.get("base", 0)
    print("| install | MB on disk | more than the base |")
    print("|---|---|---|")
    for name, size in sizes.items():
        shown = "`ebbline`" if name == "base" else f"`ebbline[{name}]`"
        more = f"{(size - base) / MEGABYTE:.0f}" if base and name != "base" else ""
        print(f"| {shown} | {size / MEGABYTE:.0f} | {more} |", flush=True)


if __name__ == "__main__":
    main()
