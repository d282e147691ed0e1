"""No command writes over what it read, and none replaces a file without --force."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from typer.testing import CliRunner

from ebbline.cli.main import app
from ebbline.cli.output import OutputError, Outputs
from ebbline.errors import EbblineError
from ebbline.reading.analyse import read
from ebbline.recording import open_recording, save_recording
from recording.making import labour


def run(*words: object) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


@pytest.fixture
def record(tmp_path: Path) -> Path:
    save_recording(labour(40), tmp_path / "x.hea")
    return tmp_path / "x.hea"


@pytest.mark.parametrize(
    "words",
    [
        ("read", "x.hea", "--json", "x.dat"),
        ("read", "x", "--json", "x.hea"),
        ("read", "x.dat", "--json", "sub/../x.dat"),
        ("read", "x.hea", "--json", "linked"),
        ("read", "x.hea", "--json", "hard"),
        ("convert", "x.hea", "x.hea"),
        ("convert", "x", "x.dat"),
    ],
)
def test_a_recording_is_never_written_over_not_even_by_force(
    words: Sequence[str], record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(record.parent)
    Path("sub").mkdir()
    Path("linked").symlink_to("x.dat")
    Path("hard").hardlink_to("x.dat")
    before = {p: p.read_bytes() for p in (Path("x.hea"), Path("x.dat"))}
    for force in ((), ("--force",)):
        with pytest.raises(EbblineError, match="this is what is read, or a part of it"):
            run(*words, *force)
    assert {p: p.read_bytes() for p in before} == before


COMMANDS = {
    "read --json": ("read", "x.hea", "--json", "OUT.json"),
    "read --picture": ("read", "x.hea", "--picture", "OUT.pdf"),
    "read --annotations-out": ("read", "x.hea", "--annotations-out", "OUT.atr"),
    "convert --annotations-out": ("convert", "x.hea", "new.csv", "--annotations-out", "OUT.atr"),
    "convert": ("convert", "x.hea", "OUT.csv"),
    "invent": ("invent", "normal, 20 minutes", "OUT.csv"),
    "invent --truth": ("invent", "normal, 20 minutes", "new.csv", "--truth", "OUT.json"),
    "invent --picture": ("invent", "normal, 20 minutes", "new.csv", "--picture", "OUT.pdf"),
    "exam --json": ("exam", "fundus=breech", "--json", "OUT.json"),
    "exam --picture": ("exam", "fundus=breech", "--picture", "OUT.svg"),
    "sensors": ("sensors", "back=left", "--json", "OUT.json"),
    "internal": ("internal", "electrode", "--json", "OUT.json"),
    "reviews": ("reviews", "--json", "OUT.json"),
    "measures": ("measures", "tachysystole", "--json", "OUT.json"),
    "teach sheet": ("teach", "sheet", "what-follows", "OUT.pdf"),
    "teach export": ("teach", "export", "OUT.csv", "--store", "store.sqlite"),
    "backup": ("backup", "OUT.sqlite", "--store", "store.sqlite"),
}


@pytest.mark.parametrize("command", COMMANDS)
def test_no_command_replaces_a_file_unless_forced(
    command: str, record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(record.parent)
    if "store.sqlite" in COMMANDS[command]:
        from ebbline.web.store import Store

        Store(Path("store.sqlite")).close()
    (there,) = (Path(word) for word in COMMANDS[command] if word.startswith("OUT"))
    there.write_text("mine")
    with pytest.raises(EbblineError, match=r"there is such a file already.*--force"):
        run(*COMMANDS[command])
    assert there.read_text() == "mine"
    assert not Path("new.csv").exists()
    run(*COMMANDS[command], "--force")
    assert there.read_bytes() != b"mine"


def test_sheets_do_not_replace_older_sheets(record: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(record.parent)
    wide = ("read", "x.hea", "--from", "0:00", "--to", "0:40", "--picture", "strip.svg")
    said = run(*wide)
    assert "strip-01.svg" in said
    with pytest.raises(EbblineError, match=r"strip-01\.svg.*already"):
        run(*wide)


def test_a_backup_never_takes_the_stores_place(tmp_path: Path) -> None:
    from ebbline.web.store import Store

    Store(tmp_path / "s.sqlite").close()
    for name in ("s.sqlite", "s.sqlite-wal"):
        with pytest.raises(EbblineError, match="is read"):
            run("backup", tmp_path / name, "--store", tmp_path / "s.sqlite", "--force")


def test_two_outputs_of_one_name_are_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="two things are to be written to this one file"):
        run("invent", "normal, 20 minutes", tmp_path / "a.json", "--truth", tmp_path / "a.json")
    assert list(tmp_path.iterdir()) == []
    outputs = Outputs(force=True)
    outputs.announce(tmp_path / "a.hea", tmp_path / "a.dat")
    with pytest.raises(OutputError, match="two things"):
        outputs.recording(labour(), tmp_path / "a.hea")


def test_findings_go_out_as_annotations_and_come_in_with_a_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    run("invent", "recurrent late, 70 minutes", "a.csv")
    run("read", "a.csv", "--annotations-out", "a.atr")
    run("convert", "a.csv", "b.json", "--annotations", "a.atr")
    marks = open_recording("b.json").annotations
    told = [a.text for a in marks]
    assert "contraction" in told
    late = [a for a in marks if a.text.startswith("late deceleration, ")]
    findings = read(open_recording("a.csv")).fetuses[0].findings.fetal
    onsets = [d.onset_s for d in findings.decelerations if d.kind == "late"]
    assert len(onsets) > 3
    assert [a.time_s for a in late] == pytest.approx(onsets, abs=0.001)
    assert all(a.duration_s > 20 for a in late)
