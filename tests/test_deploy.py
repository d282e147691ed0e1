"""What is shipped for running it: units, recipe of a proxy, container; held against the program.

None of them can be started by a test; what they say can be checked: the units by systemd's own
verifier, the options they use by the command line, the files they copy by looking.
"""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest
import typer.main

from ebbline.cli.main import app

ROOT = Path(__file__).parents[1]
DEPLOY = ROOT / "deploy"


def commands(text: str) -> list[list[str]]:
    """What is said to `ebbline`, in words."""
    joined = text.replace("\\\n", " ")
    found = re.findall(r"^Exec\w+=\S*/ebbline (.*)$", joined, re.MULTILINE)
    return [shlex.split(one) for one in found]


@pytest.mark.parametrize("unit", ["ebbline.service", "ebbline-backup.service"])
def test_units_use_commands_and_options_that_there_are(unit: str) -> None:
    group = typer.main.get_command(app)
    found = commands((DEPLOY / unit).read_text())
    assert found
    for name, *words in found:
        command = group.commands[name]
        options = {one for parameter in command.params for one in parameter.opts}
        used = {word for word in words if word.startswith("--")}
        assert used <= options, name


def test_units_hold_by_systemds_own_verifier(tmp_path: Path) -> None:
    """systemd-analyze verify; and what it calls exposure is under 2 of 10."""
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze is not here")
    for unit in DEPLOY.glob("ebbline*"):
        text = unit.read_text().replace("/opt/ebbline/.venv/bin/ebbline", "/bin/true")
        text = re.sub(r"^Documentation=.*\n", "", text, flags=re.MULTILINE)
        (tmp_path / unit.name).write_text(text)
    units = sorted(map(str, tmp_path.iterdir()))
    assert len(units) == 3
    done = subprocess.run(
        ["systemd-analyze", "verify", *units], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    done = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", str(tmp_path / "ebbline.service")],
        capture_output=True,
        text=True,
        check=False,
    )
    exposed = re.search(r"exposure level for ebbline.service: (\d+\.\d+)", done.stdout)
    assert exposed
    assert float(exposed[1]) < 2.0


def test_the_proxy_passes_on_the_name_with_its_port() -> None:
    """Behind $host a workbench on another port than 443 takes its own pages for another site's."""
    text = (DEPLOY / "nginx.conf").read_text()
    assert "proxy_set_header Host $http_host;" in text
    assert "proxy_set_header X-Forwarded-Proto $scheme;" in text
    assert "proxy_buffering off;" in text


def test_the_container_copies_what_is_there_and_runs_as_nobody_special() -> None:
    text = (DEPLOY / "Containerfile").read_text()
    for line in re.findall(r"^COPY (?!--from)(.*)$", text, re.MULTILINE):
        *sources, _ = line.split()
        assert all((ROOT / source).exists() for source in sources), line
    assert re.search(r"^USER ebbline$", text, re.MULTILINE)
    assert "--require-hashes" in text
