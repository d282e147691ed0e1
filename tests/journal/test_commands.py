"""The record on the command line: what is written, refused, verified, taken out and in."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from typer.testing import CliRunner, Result

from ebbline.cli.main import app
from ebbline.errors import EbblineError


class Desk:
    """A command line on a record of its own."""

    def __init__(self, place: Path) -> None:
        self.place = place

    def run(self, *words: str) -> Result:
        return CliRunner().invoke(app, ["record", *words], env={"EBBLINE_RECORD": str(self.place)})

    def said(self, *words: str) -> str:
        done = self.run(*words)
        assert done.exit_code == 0, (done.output, done.exception)
        return done.output

    def refused(self, *words: str) -> str:
        done = self.run(*words)
        assert isinstance(done.exception, EbblineError), (done.output, done.exception)
        return str(done.exception)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    one = Desk(tmp_path / "record.sqlite")
    one.said("open", "24-0117", "--bed", "4", "--by", "Kim")
    return one


def test_an_entry_is_written_and_shown(desk: Desk) -> None:
    assert "entry 2: Dilatation 6 cm; station -1 cm" in desk.said(
        "add", "24-0117", "cervix", "dilatation_cm=6", "station_cm=-1", "--by", "Kim"
    )
    assert "Dilatation 6 cm; station -1 cm (Kim)" in desk.said("show", "24-0117")
    assert "bed 4" in desk.said("list")


def test_a_correction_marks_what_it_takes_the_place_of(desk: Desk) -> None:
    desk.said("add", "24-0117", "cervix", "dilatation_cm=6", "--by", "Kim")
    desk.said("add", "24-0117", "cervix", "dilatation_cm=7", "--by", "Kim", "--corrects", "2")
    shown = desk.said("show", "24-0117")
    assert "[corrected by 3]" in shown and "[corrects 2]" in shown


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("open", "Anna", "--bed", "1", "--by", "Kim"), "not a case number"),
        (("open", "24-0117", "--bed", "1", "--by", "Kim"), "such a case already"),
        (("add", "24-0117", "cervix", "dilatation=6", "--by", "Kim"), "'dilatation_cm'"),
        (("add", "24-0117", "cervix", "six", "--by", "Kim"), "not FIELD=VALUE"),
        (("add", "24-9", "note", "note=x", "--by", "Kim"), "no such case"),
        (("add", "24-0117", "note", "note=x", "--by", "Kim", "--at", "later"), "not a time"),
        (("add", "24-0117", "note", "note=x", "--by", "Kim", "--at", "2999-01-01T00:00"), "ahead"),
        (("verify", "--head", "12345678"), "Name the case"),
        (("kinds", "cervx"), "Did you mean 'cervix'"),
        (("show", "24-0118"), "no such case"),
    ],
)
def test_what_cannot_be_done_is_refused_in_words(
    desk: Desk, words: tuple[str, ...], said: str
) -> None:
    assert said in desk.refused(*words)


def test_verify_answers_for_every_case_and_finds_the_entry_of_a_printed_hash(desk: Desk) -> None:
    desk.said("add", "24-0117", "note", "note=well", "--by", "Kim")
    assert "the chain holds: 1 cases, 2 entries" in desk.said("verify")
    engine = create_engine(f"sqlite:///{desk.place}")
    with engine.begin() as connection:
        head = connection.execute(text("SELECT hash FROM journal_entry WHERE number = 2")).scalar()
        assert "entry 2" in desk.said("verify", "24-0117", "--head", str(head)[:16])
        connection.execute(text("DROP TRIGGER journal_entry_no_update"))
        connection.execute(text("UPDATE journal_entry SET author = 'Sam' WHERE number = 2"))
    done = desk.run("verify")
    assert done.exit_code == 1
    assert "entry 2: it is not what was written" in done.stderr
    engine.dispose()


def test_a_hash_that_is_not_there_ends_with_code_one(desk: Desk) -> None:
    done = desk.run("verify", "24-0117", "--head", "0123456789abcdef")
    assert done.exit_code == 1


def test_the_chart_says_what_asks_to_be_looked_at_and_what_was_never_written(
    desk: Desk, tmp_path: Path
) -> None:
    desk.said("add", "24-0117", "vitals", "temperature_c=38,2", "--by", "Kim")
    out = tmp_path / "chart.pdf"
    said = desk.said("chart", "24-0117", "--out", str(out))
    assert "LOOK: Temperature 38.2 °C" in said and "WHO labour care guide" in said
    assert "never written: companion" in said
    assert out.read_bytes().startswith(b"%PDF")
    assert "already" in desk.refused("chart", "24-0117", "--out", str(out))


def test_a_handover_that_is_given_becomes_an_entry(desk: Desk, tmp_path: Path) -> None:
    desk.said("handover", "24-0117")
    assert "Handover" not in desk.said("show", "24-0117")
    out = tmp_path / "handover.pdf"
    desk.said("handover", "24-0117", "--by", "Kim", "--to", "Noor", "--out", str(out))
    assert "Handover: Given to: Noor (Kim)" in desk.said("show", "24-0117")
    assert out.exists()


def test_a_case_goes_out_and_into_another_record(desk: Desk, tmp_path: Path) -> None:
    recording = tmp_path / "labour.csv"
    recording.write_bytes((Path(__file__).parents[2] / "examples" / "labour.csv").read_bytes())
    out = tmp_path / "case.zip"
    desk.said("export", "24-0117", str(out), "--recording", str(recording), "--format", "edf")
    assert {"record.json", "recording.edf", "reading.json", "fhir.json", "chart.pdf"} <= set(
        zipfile.ZipFile(out).namelist()
    )
    other = Desk(tmp_path / "other.sqlite")
    back = tmp_path / "back.parquet"
    other.said("import", str(out), "--recording", str(back))
    assert other.said("show", "24-0117") == desk.said("show", "24-0117")
    assert back.exists()
    assert "such a case already" in other.refused("import", str(out))
    out.write_bytes(out.read_bytes()[:-40])
    assert "not a whole zip file" in other.refused("import", str(out))


def test_a_backup_is_a_whole_record(desk: Desk, tmp_path: Path) -> None:
    desk.said("add", "24-0117", "note", "note=well", "--by", "Kim")
    copy = tmp_path / "copy.sqlite"
    assert "1 cases, 2 entries" in desk.said("backup", str(copy))
    assert Desk(copy).said("show", "24-0117") == desk.said("show", "24-0117")
    assert "already" in desk.refused("backup", str(copy))
    assert desk.run("backup", str(desk.place)).exception is not None
