"""Wheel and source distribution, built and tried in a clean environment.

    python -m bench.package

Builds both, and a wheel once more from the source distribution, which must hold the same files;
looks for everything that is no Python (templates, scripts, policies, cases, migrations, models);
installs the wheel into a fresh environment that sees the locked packages and nothing of this
checkout; and runs there what a user runs first: `--version`, `compile`, `read`, `import ebbline`,
the pages. Ends with 1, and the reason, at the first thing that does not hold.
"""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import tarfile
import tempfile
import urllib.error
import urllib.request
import venv
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
PYTHON_ONLY = {".py", ".pyi", ".pyc", ".nbi", ".nbc"}


def build(kind: str, where: Path, out: Path) -> Path:
    """Build one kind of distribution of the project in a folder."""
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", kind, "-d", str(out)],
        cwd=where,
        check=True,
        capture_output=True,
    )
    (made,) = out.glob("*.whl" if kind == "wheel" else "*.tar.gz")
    return made


def held(wheel: Path) -> set[str]:
    """Files of a wheel, without what tells of the wheel itself."""
    return {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}


def expected() -> set[str]:
    """Every file of the package that git knows, or that lies there."""
    source = ROOT / "src"
    return {
        str(path.relative_to(source))
        for path in (source / "ebbline").rglob("*")
        if path.is_file() and path.suffix not in {".pyc", ".nbi", ".nbc"}
    }


def main() -> int:
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        wheel = build("wheel", ROOT, work / "one")
        sdist = build("sdist", ROOT, work / "two")
        with tarfile.open(sdist) as archive:
            # The filter came with Python 3.11.4; what is unpacked was made a moment ago.
            if hasattr(tarfile, "data_filter"):
                archive.extractall(work / "source", filter="data")
            else:
                archive.extractall(work / "source")
        (unpacked,) = (work / "source").iterdir()
        again = build("wheel", unpacked, work / "three")
        missing, stray = expected() - held(wheel), held(wheel) - expected()
        if missing or stray:
            print(f"the wheel lacks {sorted(missing)[:5]}, holds {sorted(stray)[:5]} beside")
            return 1
        if held(again) != held(wheel):
            print(f"from source it differs: {sorted(held(again) ^ held(wheel))[:5]}")
            return 1
        data = [name for name in held(wheel) if Path(name).suffix not in PYTHON_ONLY]
        for one, what in ((wheel, f"{len(data)} files are no Python"), (sdist, "gives the same")):
            print(f"{one.name}: {one.stat().st_size >> 10} KiB, {what}")
        return tried(wheel, work)


def tried(wheel: Path, work: Path) -> int:
    """Install the wheel where nothing of the checkout is, and run it from elsewhere."""
    place = work / "clean"
    venv.create(place, with_pip=True)
    inside = place / ("Scripts" if os.name == "nt" else "bin")
    python = str(inside / "python")
    bare = {
        key: value for key, value in os.environ.items() if not key.startswith(("PYTHON", "EBB"))
    }
    bare["HOME"] = bare["XDG_DATA_HOME"] = str(work / "home")

    def run(*words: str) -> str:
        done = subprocess.run(
            words, cwd=work, env=bare, capture_output=True, text=True, check=False
        )
        if done.returncode:
            raise SystemExit(f"{' '.join(words)}\nended with {done.returncode}:\n{done.stderr}")
        return done.stdout

    run(python, "-m", "pip", "install", "-q", "--no-deps", "--no-index", str(wheel))
    own = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))").strip())
    # The packages of the lock, as they are installed for the tests; only after the wheel's own.
    (own / "locked.pth").write_text(sysconfig.get_path("purelib") + "\n")
    ebbline = str(inside / "ebbline")
    print(run(ebbline, "--version").strip())
    where = run(python, "-c", "import ebbline; print(ebbline.__file__)").strip()
    if not where.startswith(str(own)):
        print(f"another ebbline answers: {where}")
        return 1
    print(run(ebbline, "compile").strip().replace(str(work), "."))
    example = str(ROOT / "examples" / "labour.csv")
    print(run(ebbline, "read", example, "--picture", "strip.pdf").splitlines()[0])
    words = "import ebbline; print(ebbline.read('%s', window='last 30 min'))" % example  # noqa: UP031
    print(run(python, "-c", words).strip())
    run(ebbline, "criteria", "figo")
    run(ebbline, "reviews", "--help")
    serving = subprocess.Popen(
        [ebbline, "serve", "--port", "0", "--store", str(work / "w.sqlite")],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        cwd=work,
        env=bare,
    )
    try:
        assert serving.stdout is not None
        base = serving.stdout.readline().split()[-1]
        for page in ("", "static/base.css", "help", "teach", "examination", "record"):
            with urllib.request.urlopen(base + page, timeout=120) as answer:
                answer.read()
        wait_until_well(base)
    finally:
        serving.terminate()
        serving.wait(20)
    print("pages, styles, stores and /health answer")
    return 0


def wait_until_well(base: str) -> None:
    """Ask /health until it is well; on a busy computer it is "starting" for a while."""
    for _ in range(60):
        try:
            with urllib.request.urlopen(base + "health", timeout=30) as answer:
                answer.read()
                return
        except urllib.error.HTTPError as error:
            said = error.read().decode()
            if "starting" not in said:
                raise SystemExit(f"/health: {said}") from error
    raise SystemExit("/health is still starting after a minute and more")


if __name__ == "__main__":
    sys.exit(main())
