"""The report and the comparison: their numbers recomputed by hand, bad input told."""

from __future__ import annotations

import io
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from pypdf import PdfReader
from typer.testing import CliRunner

from ebbline.cli.main import app
from ebbline.cohort.compare import compare, said
from ebbline.cohort.readers import given_readings
from ebbline.cohort.report.build import build_report
from ebbline.cohort.report.charts import stacked
from ebbline.cohort.report.html import html
from ebbline.cohort.report.outcomes import _area
from ebbline.cohort.report.pdf import pdf
from ebbline.cohort.report.tables import interval, share_said
from ebbline.cohort.results import Results
from ebbline.cohort.run import Summary
from ebbline.errors import EbblineError
from ebbline.journal.chain import Draft
from ebbline.journal.entries import body_from
from ebbline.journal.store import Journal
from ebbline.picture.canvas import Text
from ebbline.picture.fonts import text_width

READINGS = """recording,reader,start_min,end_min,class
calm,anna,0,30,normal
calm,bela,0,30,normal
calm,cara,0,30,suspicious
late,anna,0,30,pathological
late,bela,0,30,pathological
late,cara,0,30,suspicious
"""


def test_wilsons_interval_of_81_in_263():
    """Newcombe RG. Stat Med 1998;17:857-72, table I: 81/263 gives 0.2553 to 0.3662."""
    low, high = interval(81, 263)
    assert low == pytest.approx(0.2553, abs=5e-5)
    assert high == pytest.approx(0.3662, abs=5e-5)


def test_area_under_the_curve_of_hanley_and_mcneil():
    """Hanley JA, McNeil BJ. Radiology 1982;143:29-36, table I: 109 images, area 0.893."""
    import numpy as np

    normal, abnormal = (33, 6, 6, 11, 2), (3, 2, 2, 11, 33)
    ranks = np.repeat([0, 1, 2, 3, 4] * 2, normal + abnormal)
    ill = np.repeat([False, True], [sum(normal), sum(abnormal)])
    assert _area(ranks, ill) == pytest.approx(0.893, abs=5e-4)


def test_the_page_needs_nothing_else_and_every_figure_has_its_numbers(
    read_once: tuple[Path, Summary],
):
    report = build_report(read_once[0])
    page = html(report)
    assert "<script" not in page
    assert "http" not in page.replace('xmlns="http://www.w3.org/2000/svg"', "")
    figures = [figure for section in report.sections for figure in section.figures]
    assert figures
    assert all(figure.table.rows for figure in figures)
    assert page.count("The numbers of this figure") == len(figures)
    assert "busy/broken" in page, "what could not be read is named"
    assert report.caution in page


def test_every_class_of_a_figure_is_named_on_it_whole():
    """A class that is drawn and not named cannot be told from its neighbour."""
    names = (
        "Category I",
        "Category II",
        "Category III",
        "at best Category I, if this is the fetus",
    )
    ranks = (0, 1, 2, -3, -2, -1)
    parts = dict(zip((*names, "at least Category II", "no class"), ranks, strict=True))
    drawn = stacked("Shares", [("last 30 min", [1 / 6] * 6)], parts)
    said = {one.text: one for one in drawn.shapes if isinstance(one, Text)}
    assert set(parts) <= set(said)
    for name in parts:
        assert said[name].x + text_width(name, said[name].size) <= drawn.width


def test_names_in_an_archive_cannot_write_into_the_page(
    read_once: tuple[Path, Summary], tmp_path: Path
):
    shutil.copytree(read_once[0], tmp_path / "out")
    failures = tmp_path / "out" / "failures.parquet"
    rows = pq.read_table(failures)
    evil = rows.to_pylist()[0] | {"recording": "<script>alert(1)</script>"}
    pq.write_table(pa.Table.from_pylist([evil], rows.schema), failures)
    assert "<script>alert" not in html(build_report(tmp_path / "out"))


def test_pdf_has_the_same_parts_and_a_title(read_once: tuple[Path, Summary]):
    report = build_report(read_once[0])
    made = PdfReader(io.BytesIO(pdf(report)))
    assert made.metadata.title == report.title
    text = "\n".join(page.extract_text() for page in made.pages)
    for section in report.sections:
        assert section.title in text


def test_agreement_with_readings_that_people_gave(read_once: tuple[Path, Summary], tmp_path: Path):
    path = tmp_path / "readings.csv"
    path.write_text(READINGS)
    report = build_report(read_once[0], path)
    [section] = [one for one in report.sections if one.title == "Agreement with readers"]
    assert section.paragraphs[0].startswith("2 windows read by 3 people or more")
    [table] = section.tables
    panel = next(row for row in table.rows if row[0] == "Panel reading")
    assert int(panel[1]) + int(panel[2]) == 2


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("a,b\n1,2\n", "not those of readings"),
        ("recording,reader,start_min,end_min,class\n1,a,zero,30,normal\n", "not a number"),
        ("recording,reader,start_min,end_min,class\n1,a,0,30,fine\n", "not a class"),
    ],
)
def test_readings_that_cannot_be_understood_are_told_with_their_line(
    tmp_path: Path, text: str, told: str
):
    path = tmp_path / "readings.csv"
    path.write_text(text)
    with pytest.raises(EbblineError, match=told):
        given_readings(path)


def test_the_first_of_two_readings_of_one_window_counts(tmp_path: Path):
    path = tmp_path / "experts.csv"
    path.write_text(
        "rec_id,expert_id,eval_step1,eval_step2,eval_step3,eval_step4\n"
        "1001,1,2,3,-1,1\n1001,1,1,-1,-1,1\n"
    )
    found = {(one.start_s, one.rank) for one in given_readings(path)}
    assert found == {(0.0, 1), (1800.0, 2)}


def test_a_changed_class_is_found_with_its_reasons(read_once: tuple[Path, Summary], tmp_path: Path):
    other = tmp_path / "other"
    shutil.copytree(read_once[0], other)
    table = pq.read_table(other / "classes.parquet")
    rows = table.to_pylist()
    row = next(r for r in rows if r["recording"] == "quiet/calm" and r["standard"] == "figo")
    row["label"] = row["said"] = "other class"
    row["rank"], row["decided_by"] = 2, ["figo.made.up"]
    row["reasons"] = ["made up for this test"]
    pq.write_table(pa.Table.from_pylist(rows, table.schema), other / "classes.parquet")
    found = compare(read_once[0], other)
    assert found.changed.num_rows == 1
    assert found.same == len(rows) - 1
    words = said(found)
    assert "quiet/calm" in words
    assert "made up for this test" in words


def test_a_recording_that_is_there_twice_is_told(read_once: tuple[Path, Summary], tmp_path: Path):
    other = tmp_path / "other"
    shutil.copytree(read_once[0], other)
    table = pq.read_table(other / "recordings.parquet")
    twin = next(row for row in table.to_pylist() if row["recording"] == "busy/late")
    both = [*table.to_pylist(), twin | {"recording": "copies/late"}]
    pq.write_table(pa.Table.from_pylist(both, table.schema), other / "recordings.parquet")
    Results(other)._views()
    assert "busy/late and copies/late" in html(build_report(other))
    assert "more than once" not in html(build_report(read_once[0]))


def test_a_run_that_is_stopped_says_that_it_can_go_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("ebbline.cohort.run.run_archive", stopped)
    (tmp_path / "out").mkdir()
    done = CliRunner().invoke(app, ["archive", str(tmp_path), "--out", str(tmp_path / "out")])
    assert done.exit_code == 130
    assert "goes on from there" in done.output


def test_the_commands_say_what_is_wrong_and_replace_nothing(
    read_once: tuple[Path, Summary], tmp_path: Path
):
    runner = CliRunner()
    nowhere = runner.invoke(app, ["archive", "report", str(tmp_path)])
    assert isinstance(nowhere.exception, EbblineError)
    page = tmp_path / "report.html"
    page.write_text("mine")
    kept = runner.invoke(app, ["archive", "report", str(read_once[0]), "--out", str(page)])
    assert isinstance(kept.exception, EbblineError)
    assert page.read_text() == "mine"
    same = runner.invoke(app, ["archive", "compare", str(read_once[0]), str(read_once[0])])
    assert same.exit_code == 0
    assert ", 0 another" in same.output


def test_reviews_on_time_are_told_where_a_record_is_given(
    read_once: tuple[Path, Summary], tmp_path: Path
):
    """One case, low risk, by ear: due every 15 minutes (NICE NG229, in the shipped policy)."""
    begins = datetime(2030, 5, 1, 8, 0, tzinfo=UTC)
    journal = Journal(tmp_path / "record.sqlite", now=lambda: begins + timedelta(hours=3))
    journal.open_case("24-0117", "4", author="Kim", at=begins)
    for minutes, kind, fields in (
        (0, "labour", {"risk": "low", "heart_by": "auscultation"}),
        (0, "stage", {"stage": "active first stage"}),
        (0, "trace", {"place": "calm.csv"}),
        (15, "auscultation", {"after_bpm": 140}),
        (45, "auscultation", {"after_bpm": 140}),
    ):
        at = begins + timedelta(minutes=minutes)
        journal.append("24-0117", Draft(body_from(kind, fields), at, "Kim"))
    section = build_report(read_once[0], record=journal).sections[-1]
    journal.close()
    (row,) = [row for row in section.figures[0].table.rows if "ear" in row[0] or "eart" in row[0]]
    assert row[1:] == ("2", share_said(1, 2), "1, median 15 min late", "0")
    assert "the traces of 1 of them" in section.paragraphs[0]
