"""An archive read into tables: the same numbers as reading one by one, and nothing lost."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from bench.archive import worker_pids

from cohort.conftest import lay_out
from ebbline.cohort.results import Results
from ebbline.cohort.run import Summary, code_fingerprint, run_archive
from ebbline.cohort.schema import TABLES
from ebbline.cohort.sources import find_sources
from ebbline.errors import EbblineError
from ebbline.reading.analyse import read
from ebbline.recording import open_recording
from ebbline.terms import Window


def table(folder: Path, name: str) -> list[dict]:
    return pq.read_table(folder / f"{name}.parquet").to_pylist()


def test_classes_are_those_that_reading_the_file_alone_gives(
    archive: Path, read_once: tuple[Path, Summary]
):
    rows = [row for row in table(read_once[0], "classes") if row["recording"] == "busy/late"]
    recording = open_recording(archive / "busy" / "late.edf")
    assert {row["window"] for row in rows} == {"half hour", "last half hour"}
    for row in rows:
        window = Window(row["start_s"], row["end_s"])
        [fetal] = read(recording, window=window, history=False).fetuses
        alone = {str(one.standard): (one.label, list(one.decided_by)) for one in fetal.classes}
        assert alone[row["standard"]] == (row["label"], row["decided_by"])


def test_every_finding_has_a_row(archive: Path, read_once: tuple[Path, Summary]):
    rows = [row for row in table(read_once[0], "findings") if row["recording"] == "busy/late"]
    [fetal] = read(open_recording(archive / "busy" / "late.edf")).fetuses
    assert len([r for r in rows if r["finding"] == "deceleration"]) == len(
        fetal.findings.fetal.decelerations
    )
    contractions = [r for r in rows if r["finding"] == "contraction"]
    assert len(contractions) == len(fetal.findings.uterine.contractions)
    assert {r["fetus"] for r in contractions} == {0}, "contractions are the mother's"


def test_one_bad_file_is_listed_with_its_reason_and_stops_nothing(
    read_once: tuple[Path, Summary],
):
    out, done = read_once
    assert (done.recordings, done.failed) == (4, 1)
    [row] = table(out, "failures")
    assert row["recording"] == "busy/broken"
    assert row["what"]
    assert row["remedy"]
    assert {r["recording"] for r in table(out, "recordings")} == {
        "quiet/calm",
        "busy/late",
        "busy/short",
    }


def test_every_column_of_every_table_tells_what_it_means(read_once: tuple[Path, Summary]):
    for one in TABLES:
        schema = pq.read_schema(read_once[0] / f"{one.name}.parquet")
        assert schema.names == [column.name for column in one.columns]
        assert all(field.metadata[b"meaning"] for field in schema)


def test_the_views_answer_questions(read_once: tuple[Path, Summary]):
    import duckdb

    with duckdb.connect(str(read_once[0] / "archive.duckdb"), read_only=True) as base:
        worst = base.sql("SELECT recording, label FROM worst_class WHERE standard = 'nichd'")
        labels = dict(worst.fetchall())
    assert labels["busy/late"] in ("Category II", "Category III")


def test_only_what_changed_is_read_again_and_what_is_gone_leaves_the_tables(tmp_path: Path):
    place, out = tmp_path / "archive", tmp_path / "results"
    lay_out(place)
    first = run_archive(str(place), out, workers=1)
    assert (first.read, first.kept) == (4, 0)
    (place / "busy" / "broken.edf").unlink()
    stamp = (place / "busy" / "short.csv").stat().st_mtime + 10
    os.utime(place / "busy" / "short.csv", (stamp, stamp))
    again = run_archive(str(place), out, workers=1)
    assert (again.read, again.kept, again.failed) == (1, 2, 0)
    names = [row["recording"] for row in table(out, "recordings")]
    assert names == ["busy/late", "busy/short", "quiet/calm"]


def test_tables_are_made_anew_only_where_something_is_new_or_they_were_touched(
    archive: Path, read_once: tuple[Path, Summary], tmp_path: Path
):
    shutil.copytree(read_once[0], tmp_path / "out")
    sources, results = find_sources(str(archive)), Results(tmp_path / "out")
    results.finish(sources)
    target = results.folder / "half_hours.parquet"
    made, whole = target.stat().st_mtime_ns, target.read_bytes()
    results.finish(sources)
    assert target.stat().st_mtime_ns == made
    target.write_bytes(whole[: len(whole) // 2])
    (results.folder / "classes.parquet").unlink()
    results.finish(sources)
    assert target.read_bytes() == whole
    assert table(results.folder, "classes") == table(read_once[0], "classes")
    results.finish([one for one in sources if one.recording != "busy/late"])
    assert {row["recording"] for row in table(results.folder, "classes")} == {
        "quiet/calm",
        "busy/short",
    }


def test_results_change_with_any_published_number(monkeypatch: pytest.MonkeyPatch):
    """The definitions lie beside the rooms that use them: another limit is another version."""
    before = code_fingerprint()
    read_bytes = Path.read_bytes

    def changed(path: Path) -> bytes:
        return read_bytes(path) + (b"#" if path.name == "definitions.py" else b"")

    monkeypatch.setattr(Path, "read_bytes", changed)
    assert code_fingerprint() != before


def test_results_of_another_standard_are_not_mixed_in(
    archive: Path, read_once: tuple[Path, Summary]
):
    from ebbline.criteria.model import Standard

    with pytest.raises(EbblineError, match="another choice of standards"):
        run_archive(str(archive), read_once[0], standards=(Standard.FIGO,), workers=1)


def test_a_folder_with_something_else_is_left_alone(archive: Path, tmp_path: Path):
    (tmp_path / "letter.txt").write_text("mine")
    with pytest.raises(EbblineError, match="something else"):
        run_archive(str(archive), tmp_path)
    assert [one.name for one in tmp_path.iterdir()] == ["letter.txt"]


def test_killed_workers_change_nothing(
    archive: Path,
    read_once: tuple[Path, Summary],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
):
    """After each of the first two recordings the worker is killed; the tables are the same."""
    monkeypatch.setattr("ebbline.cohort.run.BATCH", 1)
    killed = []

    def kill(done: int, of: int) -> None:
        if 0 < done < of and len(killed) < 2:
            for pid in worker_pids():
                # One that ended in the meantime is nobody's worker any more.
                with contextlib.suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)
                    killed.append(pid)

    run_archive(str(archive), tmp_path / "out", workers=1, progress=kill)
    assert killed
    for one in TABLES:
        same = pq.read_table(tmp_path / "out" / f"{one.name}.parquet")
        assert same.equals(pq.read_table(read_once[0] / f"{one.name}.parquet")), one.name
