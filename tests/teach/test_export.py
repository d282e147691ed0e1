"""Attempts as CSV and xAPI, the class report, what is kept and erased."""

import csv
import io
import json
import re
import uuid
from datetime import UTC, datetime, timedelta

import pytest

from ebbline.teach.attempt_record import FinishedAttempt, by_learner_and_item, class_ratings
from ebbline.teach.export import HOME_PAGE, pseudonym, pseudonyms, to_csv, to_xapi
from ebbline.teach.report import class_report, report_text
from ebbline.teach.scoring import Score, ScoreLine, UnsafeChoice

NOON = datetime(2031, 3, 4, 12, tzinfo=UTC)
CLASSES = ("normal", "suspicious", "pathological")


def attempt(learner, case, said, true, *, number=0, share=0.5, answer="x", unsafe=()):
    lines = (
        ScoreLine("class", answer, true, 3.0 * (said == true), 3.0, "rule", "source"),
        ScoreLine("baseline", "140 bpm", "135 bpm", 2.0 * share, 2.0, "rule", "source"),
    )
    return FinishedAttempt(
        id=f"{learner}-{case}-{number}", learner=learner, case=case, seed=0,
        started=NOON + timedelta(hours=number),
        finished=NOON + timedelta(hours=number, minutes=12),
        assignment="", score=Score(lines, unsafe, (), ((true, said),)), standard="figo",
        said_class=said, true_class=true,
    )  # fmt: skip


A_CLASS = [
    attempt(f"learner {n}", f"case {c}", CLASSES[(c + (n == 2 and c > 1)) % 3], CLASSES[c % 3],
            share=n / 4)
    for n in range(5)
    for c in range(4)
]  # fmt: skip


def test_a_csv_has_a_row_for_each_scored_step():
    names = pseudonyms(A_CLASS, b"secret")
    rows = list(csv.DictReader(io.StringIO(to_csv(A_CLASS, names))))
    assert len(rows) == sum(len(a.score.lines) for a in A_CLASS)
    assert {row["step"] for row in rows} == {"class", "baseline"}
    assert sum(float(row["possible"]) for row in rows) == 5.0 * len(A_CLASS)
    assert not any("learner 1" in row["learner"] for row in rows)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t"])
def test_a_cell_that_a_spreadsheet_would_run_is_made_plain(start):
    """OWASP, CSV injection: cells that begin with = + - @ are prefixed."""
    nasty = attempt("a", "c", "normal", "normal", answer=f"{start}cmd()")
    (row, _) = list(csv.DictReader(io.StringIO(to_csv([nasty], {"a": f"{start}a"}))))
    assert row["answer"].startswith("'")
    assert row["learner"].startswith("'")


def test_a_pseudonym_stays_and_cannot_be_made_without_the_secret():
    assert pseudonym("Ann", b"one") == pseudonym("Ann", b"one")
    assert pseudonym("Ann", b"one") != pseudonym("Ann", b"two")
    assert "Ann" not in pseudonym("Ann", b"one")


IRI = re.compile(r"^https?://[^\s]+$")
DURATION = re.compile(r"^PT\d+(\.\d{1,2})?S$")


def test_statements_follow_the_experience_api():
    """xAPI-Data 1.0.3, sections 2.4 and 4: required properties, IRIs, scores, durations."""
    statements = to_xapi(A_CLASS, pseudonyms(A_CLASS, b"secret"))
    assert len(statements) == 3 * len(A_CLASS)
    assert len({one["id"] for one in statements}) == len(statements)
    json.dumps(statements, allow_nan=False)
    for one in statements:
        assert uuid.UUID(one["id"])
        assert set(one["actor"]) == {"objectType", "account"}
        assert IRI.match(one["actor"]["account"]["homePage"])
        assert IRI.match(one["verb"]["id"])
        assert IRI.match(one["object"]["id"])
        assert IRI.match(one["object"]["definition"]["type"])
        assert datetime.fromisoformat(one["timestamp"]).tzinfo is not None
        score = one["result"]["score"]
        assert -1 <= score["scaled"] <= 1
        assert score["min"] <= score["raw"] <= score["max"]
        assert score["scaled"] == pytest.approx(score["raw"] / score["max"], abs=1e-4)
        assert uuid.UUID(one["context"]["registration"])
        for key in one["result"].get("extensions", {}):
            assert IRI.match(key)
    completed = [one for one in statements if one["verb"]["id"].endswith("/completed")]
    assert all(DURATION.match(one["result"]["duration"]) for one in completed)
    assert completed[0]["result"]["duration"] == "PT720.00S"


def test_exporting_again_gives_the_same_statements_and_another_home_other_addresses():
    names = pseudonyms(A_CLASS, b"secret")
    assert to_xapi(A_CLASS, names) == to_xapi(A_CLASS, names)
    elsewhere = to_xapi(A_CLASS, names, home_page="https://school.example/x")
    assert elsewhere[0]["object"]["id"].startswith("https://school.example/x/cases/")
    assert HOME_PAGE.endswith(".invalid/"), "RFC 2606: never a real place"


def test_questions_and_agreement_rest_on_first_attempts():
    again = attempt("learner 1", "case 0", "pathological", "normal", number=5, share=1.0)
    shares = by_learner_and_item([*A_CLASS, again])
    assert shares["learner 1"]["case 0: baseline"] == 0.25
    (learners, ratings), truth = class_ratings([*A_CLASS, again], CLASSES)
    assert ratings[0][learners.index("learner 1")] == 0
    assert truth == [0, 1, 2, 0]


def test_the_report_says_what_a_class_did():
    unsafe = (UnsafeChoice("Raise it", "why", "source", 1.0),)
    report = class_report(
        [*A_CLASS, attempt("learner 1", "case 0", "normal", "normal", number=9, unsafe=unsafe)],
        resamples=200,
    )
    assert report.attempts == 21
    assert len(report.learners) == 5
    (agreement,) = report.agreement
    assert agreement.units == 4
    kappa = agreement.with_truth[0]
    assert 0.7 < kappa.value < 1.0
    assert kappa.low <= kappa.value <= kappa.high
    assert {a.coefficient.split(",")[0] for a in agreement.among} == {
        "Fleiss' kappa", "Krippendorff's alpha",
    }  # fmt: skip
    ((title, classes),) = report.classes
    assert title == "FIGO 2015"
    assert classes.commonest_mistakes[0][:2] in {
        ("normal", "suspicious"), ("pathological", "normal"),
    }  # fmt: skip
    assert [level.number for level in report.progress] == [1, 2, 3, 4, 5]
    assert report.unsafe == (("Raise it", 1),)
    text = report_text(report)
    assert "21 finished attempts of 5 learners" in text
    assert "UNSAFE CHOICES" in text


def test_an_empty_class_has_an_empty_report():
    report = class_report([])
    assert report.attempts == 0
    assert report_text(report).strip() == "0 finished attempts of 0 learners"
