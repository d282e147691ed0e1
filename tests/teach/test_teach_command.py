"""`ebbline teach`: list, show, check, play, sheet, report, export."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from ebbline.cli.main import app
from ebbline.errors import EbblineError
from ebbline.teach.library import shipped, shipped_case
from ebbline.teach.terminal import Player, strip_in_letters
from ebbline.teach.variants import begin_case

RUN = CliRunner()


def run(*words, text=None):
    return RUN.invoke(app, ["teach", *words], input=text, catch_exceptions=False)


def test_list_shows_every_shipped_case_and_finds_what_teaches_a_term():
    assert f"{len(shipped())} cases." in run("list").output
    found = json.loads(run("list", "--json", "--shows", "sinusoidal").output)
    assert "after-the-stairs" in {one["id"] for one in found}
    assert all(any("sinusoidal" in term for term in one["shows"]) for one in found)


def test_show_tells_the_story_and_the_truth_only_when_asked():
    plain = run("show", "what-follows").output
    assert "Zainab" in plain
    assert "Category" not in plain
    assert "late" not in plain.lower().replace("each is followed", "")
    assert "Category II" in run("show", "what-follows", "--truth").output


def test_check_names_every_problem_and_ends_with_two(tmp_path: Path):
    good = tmp_path / "good.yaml"
    from ebbline.teach.case import case_to_yaml

    good.write_text(case_to_yaml(shipped_case("a-gush")).replace("id: a-gush", "id: mine"))
    bad = tmp_path / "bad.yaml"
    bad.write_text("ebbline_case: 1\nid: x\n")
    fine = run("check", str(good))
    assert fine.exit_code == 0
    assert "cord felt" in fine.output
    both = run("check", str(bad), str(good))
    assert both.exit_code == 2
    assert "title: must be given" in both.output
    assert "sound" in both.output


def test_an_unknown_case_ends_in_words_and_two():
    done = subprocess.run(
        [sys.executable, "-m", "ebbline.cli.main", "teach", "show", "a-gosh"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode == 0:  # the module has no entry of its own
        with pytest.raises(EbblineError, match="a-gush"):
            run("show", "a-gosh")
        return
    assert "Traceback" not in done.stderr


PLAYED = """
story
nonsense
feel 9
do
do 4
tell 3
read
140
moderate
no
no
late deceleration 5:00 6:10
hop
contraction 1:00 2:00

Category II
strip
wait x
wait 5
finish
"""


def test_a_whole_case_is_played_in_words(tmp_path: Path):
    target = tmp_path / "t.json"
    done = run("play", "what-follows", "--record", str(target), text=PLAYED)
    assert done.exit_code == 0
    assert "is nothing that can be done here" in done.output
    assert "is not a number" in done.output
    assert "A worked reading" in done.output
    assert "This is an invented patient" in done.output
    kept = json.loads(target.read_text())
    assert [step["step"] for step in kept["steps"]] == [
        "choose", "tell", "read strip", "wait", "finish",
    ]  # fmt: skip
    assert len(kept["steps"][2]["answer"]["marks"]) == 2
    assert {line["item"] for line in kept["score"]["lines"]} >= {"baseline", "class", "measures"}


HANDS = """
look
ask
feel 1
feel 2
feel 2 left flank
feel 2 right flank
feel 3
feel 4
lies
longitudinal
vertex
left anterior
flexed
4
listen 6 -6
heart 6 -6
belt 3 12
wait 10
finish
"""


def test_hands_and_sensors_are_played_in_words():
    lines = iter(HANDS.strip().split("\n"))
    said: list[str] = []
    player = Player(shipped_case("a-first-abdomen-to-feel"), 0, said.append, lambda _: next(lines))
    player.run()
    text = "\n".join(said)
    assert "Where? left flank" in text
    assert "The baby lay: vertex, LOA" in text or "The baby lay: vertex LOA" in text
    assert "11.0 of" in text or "points (100 %)" in text


def test_the_strip_in_letters_shows_a_gap_as_a_gap():
    import numpy as np

    from ebbline.recording.model import Channel, ChannelKind, Recording
    from ebbline.terms import Window

    samples = np.full(600 * 4, 140.0)
    samples[1200:1600] = np.nan
    recording = Recording("x", (Channel(ChannelKind.FETAL_HEART_RATE, samples, 4.0, fetus=1),))
    lines = strip_in_letters(recording, Window(0.0, 600.0))
    (row,) = [line for line in lines if line.startswith(" 140 |")]
    assert row[6:].count("o") == 50
    assert row[6:][30:40].strip() == ""


def test_sheets_with_and_without_answers(tmp_path: Path):
    from pypdf import PdfReader

    texts = {}
    for answers in (False, True):
        target = tmp_path / f"{answers}.pdf"
        done = run("sheet", "after-the-block", str(target), *(["--answers"] if answers else []))
        assert done.exit_code == 0
        texts[answers] = "\n".join(page.extract_text() for page in PdfReader(target).pages)
    for text in texts.values():
        assert "Saoirse" in text
        assert "Not a medical device" in text
    assert "Class by NICHD 2008" in texts[False]
    for told in ("Called for", "What could hurt here", "Prolonged: 1", "To be told"):
        assert told not in texts[False]
    assert "What could hurt here" in texts[True]
    assert "Limits of the model" in texts[True]


def test_report_and_export_read_the_workbenchs_store(tmp_path: Path):
    from ebbline.teach.steps import Choose, Finish
    from ebbline.web.store import Store
    from ebbline.web.teaching.attempts_in_play import judged
    from ebbline.web.teaching.store import Teaching

    place = tmp_path / "s.sqlite"
    store = Store(place)
    teaching = Teaching(store)
    key = teaching.begin("Ann", "what-follows")
    encounter = begin_case(shipped_case("what-follows"), 0)
    for number, step in enumerate((Choose("stop the oxytocic"), Finish())):
        encounter.take(step)
        teaching.add_step(key, number, step)
    teaching.finish(key, *judged(encounter))
    store.close()
    assert "1 finished attempt of 1 learner" in run("report", "--store", str(place)).output
    table = tmp_path / "a.csv"
    run("export", str(table), "--store", str(place))
    assert "what-follows" in table.read_text()
    assert "Ann" not in table.read_text()
    run("export", str(table), "--store", str(place), "--names", "--force")
    assert "Ann" in table.read_text()
    statements = tmp_path / "a.json"
    run("export", str(statements), "--store", str(place))
    assert json.loads(statements.read_text())[0]["verb"]["display"]["en"] == "completed"
    with pytest.raises(EbblineError, match="CSV or xAPI"):
        run("export", str(tmp_path / "a.xls"), "--store", str(place))
    with pytest.raises(EbblineError, match="no store"):
        run("report", "--store", str(tmp_path / "none.sqlite"))


def test_a_pass_mark_by_judges_or_by_borderline_regression(tmp_path: Path):
    judges = tmp_path / "judges.csv"
    judges.write_text("case,One,Two\na,50,60\nb,70,80\n", encoding="utf-8")
    said = run("passmark", str(judges)).output
    assert "Pass mark 65.0 of 100 by Angoff's method (2 judges, 2 cases" in said
    rated = tmp_path / "rated.csv"
    rated.write_text("name,score,rating\nA,40,1\nB,50,2\nC,60,3\nD,70,4\n", encoding="utf-8")
    said = run("passmark", str(rated), "--borderline", "2").output
    assert "Pass mark 50.0 of 100 by borderline regression (4 learners" in said
    rated.write_text("name,score,rating\nA,70,1\nB,60,2\nC,50,3\n", encoding="utf-8")
    with pytest.raises(EbblineError, match="do not rise"):
        run("passmark", str(rated), "--borderline", "2")
    judges.write_text("case,One\na,fifty\n", encoding="utf-8")
    with pytest.raises(EbblineError, match="no pass mark"):
        run("passmark", str(judges))
