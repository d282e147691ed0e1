"""`ebbline exam`, `sensors`, `internal`, `reviews`, `measures` from the shell's side."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from ebbline.bedside import ExamResult
from ebbline.codec import from_json


def refused(result: tuple[int, str, str], *words: str) -> None:
    code, out, err = result
    assert code == 2
    assert out == ""
    assert err.startswith("ebbline: ")
    assert "Traceback" not in err
    for word in words:
        assert word in err


COMMON = ("fundus=breech", "back=left", "brim=head", "fifths=3", "heart=left below")


def test_an_examination_says_what_it_comes_to_in_the_trades_order(ebbline):
    code, out, _ = ebbline("exam", *COMMON, "--weeks", "39+2", "--stage", "first")
    assert code == 0
    heads = ["WHAT WAS FOUND", "WHAT IT COMES TO", "WHAT NEXT", "WHERE THE SENSORS GO"]
    places = [out.index(head) for head in heads]
    assert places == sorted(places)
    assert "39+2 weeks" in out
    assert "to her left" in out
    assert "Not a medical device" in out


def test_the_tape_gives_height_for_dates_and_weight_with_its_error(ebbline):
    _, out, _ = ebbline("exam", *COMMON, "--weeks", "36", "--fundal-height", "33")
    tape = out.split("THE TAPE")[1]
    assert "33 cm at 36 weeks: 3.0 cm less than the weeks" in tape
    assert "about 3255 g, give or take 350" in tape
    assert "(33 - 12) x 155 g" in tape


def test_all_that_the_result_rests_on_can_be_said(ebbline):
    _, short, _ = ebbline("exam", *COMMON, "--weeks", "39")
    _, whole, _ = ebbline("exam", *COMMON, "--weeks", "39", "--all", "--hindered", "thick-wall")
    assert "More with --all" in short
    assert "More with --all" not in whole
    assert "35 % of what they would tell taken off" in whole
    assert "Acta Obstet Gynecol Scand" in whole


def test_what_does_not_fit_is_said_beside_the_findings(ebbline):
    _, out, _ = ebbline("exam", "brim=head", "fundus=head", "--weeks", "39")
    assert "are seldom reported together" in out
    _, out, _ = ebbline("exam", "--ask", answers="\nhead\n\n\n\nhead\nstop\n")
    assert "fundus and brim are seldom reported together" in out


def test_cautions_are_said_before_anything_else(ebbline):
    _, out, _ = ebbline("exam", *COMMON, "part=cord", "--stage", "first")
    assert out.startswith("NOW")
    assert "Cord felt" in out
    assert "WHAT NEXT" not in out
    _, out, _ = ebbline("exam", "brim=breech", "fundus=head", "--weeks", "39", "--stage", "first")
    assert out.startswith("FIRST, FOR THE TEAM")
    assert out.index("Breech possible") < out.index("WHAT WAS FOUND")


def test_json_is_printed_alone_and_can_be_read_back(ebbline):
    code, out, _ = ebbline("exam", *COMMON, "--json", "-")
    assert code == 0
    result = from_json(ExamResult, out)
    assert {f.item for f in result.findings} == {"fundus", "back", "brim", "fifths", "heart"}


def test_json_and_picture_are_written_to_files(ebbline, tmp_path):
    told, drawn = tmp_path / "exam.json", tmp_path / "abdomen.svg"
    code, _, _ = ebbline("exam", *COMMON, "--json", told, "--picture", drawn)
    assert code == 0
    assert json.loads(told.read_text())["context"]["examiner"] == "ordinary"
    assert drawn.read_text().startswith("<svg")


def test_twins_are_examined_together(ebbline):
    code, out, _ = ebbline("exam", "back=left", "--second", "back=right", "--weeks", "36")
    assert code == 0
    assert "THE LOWER TWIN" in out
    assert "THE OTHER TWIN" in out
    assert "cm apart" in out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("fundis=head",), ("fundus",)),
        (("fundus=breach",), ("breech",)),
        (("fundus",), ("name=answer",)),
        (("=head",), ("name=answer",)),
        ((), ("nothing was found",)),
        (("fundus=head", "--weeks", "60"), ("weeks", "16 to 45")),
        (("fundus=head", "--weeks", "soon"), ("--weeks",)),
        (("fundus=head", "--weeks", "39+9"), ("--weeks",)),
        (("fundus=head", "--stage", "frist"), ("--stage", "first")),
        (("fundus=head", "--examiner", "expert"), ("--examiner",)),
        (("fundus=head", "--examiner", "ordinary", "--years", "3"), ("--years",)),
        (("fundus=head", "--hindered", "fat"), ("--hindered", "thick-wall")),
        (("fundus=head", "--prevalence", "0"), ("--prevalence",)),
        (("fundus=head", "--fundal-height", "3"), ("fundal height",)),
        (("fundus=head", "--picture", "abdomen.bmp"), ("--picture", ".svg")),
        (("fundus=head", "fundus=breech"), ("two answers",)),
        (("back=left", "--second", "brim=head"), ("lower twin",)),
        (("--second", "back=left", "--ask"), ("--ask",)),
    ],
    ids=lambda value: " ".join(map(str, value)) if isinstance(value, tuple) else None,
)
def test_what_cannot_be_is_refused_in_words(ebbline, arguments, words):
    refused(ebbline("exam", *arguments), *words)


def test_nothing_is_written_when_the_examination_is_refused(ebbline, tmp_path):
    target = tmp_path / "abdomen.svg"
    refused(ebbline("exam", "fundus=breach", "--picture", target))
    assert list(tmp_path.iterdir()) == []


def test_the_words_that_can_be_said_are_listed(ebbline):
    code, out, _ = ebbline("exam", "--words")
    assert code == 0
    assert "fundus = head, breech, nothing" in out
    assert "unknown, or left out: not examined" in out


def test_the_calibration_is_printed(ebbline):
    code, out, _ = ebbline("exam", "--calibration")
    assert code == 0
    assert "Thorp 1991" in out


ANSWERS = "?\nlong\nhead\nback\nbreech\nlefft\nleft\n2\n\nhead\nstop\n"


def test_being_asked_through_takes_words_numbers_help_back_and_nothing(ebbline):
    code, out, _ = ebbline("exam", "--ask", "--weeks", "39", answers=ANSWERS)
    assert code == 0
    assert "Did you mean left" in out
    assert out.count("Which pole lies in the fundus?") == 2
    assert "shape: long; fundus: breech; back: left; limbs: right; brim: head." in out
    assert "poles" in out.split("NOT EXAMINED")[1]


def test_being_asked_says_what_it_comes_to_after_every_answer(ebbline):
    _, out, _ = ebbline("exam", "--ask", answers="long\nbreech\nstop\n")
    assert out.count("Now: ") == 2


def test_the_end_of_the_answers_ends_the_asking(ebbline):
    code, out, _ = ebbline("exam", "--ask", answers="long\n")
    assert code == 0
    assert "shape: long." in out


def test_being_asked_with_json_keeps_the_output_clean(ebbline):
    code, out, err = ebbline("exam", "--ask", "--json", "-", answers="long\nbreech\nstop\n")
    assert code == 0
    assert from_json(ExamResult, out).findings[0].answer == "long"
    assert "Which pole" in err


def test_inside_is_asked_only_where_that_may_be(ebbline):
    allowed = ("--stage", "first", "--placenta", "not-low", "--no-bleeding")
    _, out, _ = ebbline("exam", "--ask", *allowed, answers="\n" * 40)
    assert "What does the examining finger meet?" in out
    _, out, _ = ebbline("exam", "--ask", "--stage", "first", answers="\n" * 40)
    assert "What does the examining finger meet?" not in out


def test_sensors_from_findings_and_from_a_saved_examination_agree(ebbline, tmp_path):
    saved = tmp_path / "exam.json"
    ebbline("exam", *COMMON, "--weeks", "39", "--json", saved)
    _, direct, _ = ebbline("sensors", *COMMON, "--weeks", "39")
    code, out, _ = ebbline("sensors", "--exam", saved)
    assert code == 0
    assert out == direct


def test_sensors_with_a_poor_signal_say_what_to_try_in_order(ebbline):
    told = ("--valid", 60, "--trouble", "signal-lost", "--tries", 2, "--stage", "first")
    code, out, _ = ebbline("sensors", "back=left", *told)
    assert code == 0
    assert out.index("IS IT THE MOTHER'S PULSE?") < out.index("WHAT TO TRY")
    assert "worth discussing" in out


def test_sensors_from_a_reading(ebbline, tmp_path):
    reading = tmp_path / "reading.json"
    example = Path(__file__).parents[2] / "examples" / "labour.csv"
    assert ebbline("read", example, "--json", reading)[0] == 0
    code, out, _ = ebbline("sensors", "--reading", reading)
    assert code == 0
    assert "WHAT TO TRY" in out
    assert ebbline("measures", "--reading", reading)[0] == 0
    refused(ebbline("measures", "--reading", reading, "--fetus", 4), "--fetus")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--valid", "160"), ("--valid",)),
        (("--trouble", "noise"), ("--trouble",)),
        (("--pulse", "3"), ("--pulse",)),
        (("--exam", "none.json"), ("none.json",)),
        (("back=left", "--exam", "none.json"), ("--exam",)),
        (("--reading", "none.json"), ("none.json",)),
    ],
)
def test_sensors_refuse_what_cannot_be(ebbline, arguments, words):
    refused(ebbline("sensors", *arguments), *words)


def test_a_file_that_is_no_examination_is_refused(ebbline, tmp_path):
    odd = tmp_path / "odd.json"
    odd.write_text('{"a": 1}')
    refused(ebbline("sensors", "--exam", odd), "ExamResult")
    odd.write_text("{")
    refused(ebbline("sensors", "--exam", odd), "JSON")


def test_internal_says_what_is_unknown_and_what_to_find_out(ebbline):
    code, out, _ = ebbline("internal", "electrode", "membranes=ruptured", "dilatation=4")
    assert code == 0
    assert "STILL TO BE FOUND OUT" in out
    assert "FIND OUT" in out
    assert "[1]" in out.split("SOURCES")[0]
    assert "FIGO 2015" in out.split("SOURCES")[1]


def test_internal_asks_for_what_was_not_told(ebbline):
    _, out, err = ebbline("internal", "catheter", "--ask", answers="ruptured\n4\nvertex\n")
    assert "Are the membranes ruptured" in err
    assert "membranes: ruptured" in out


def test_internal_lists_its_facts(ebbline):
    code, out, _ = ebbline("internal", "electrode", "--facts")
    assert code == 0
    assert "dilatation = 0 to 10 cm" in out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("electrod",), ("electrode",)),
        (("electrode", "hiv=perhaps"), ("hiv", "yes")),
        (("electrode", "membrane=ruptured"), ("membranes",)),
        (("electrode", "--policy", "none.yaml"), ("none.yaml",)),
    ],
)
def test_internal_refuses_what_cannot_be(ebbline, arguments, words):
    refused(ebbline("internal", *arguments), *words)


def test_the_lists_can_be_had_as_json(ebbline):
    for arguments in (
        ("internal", "catheter", "membranes=ruptured"),
        ("reviews", "trace=14:00", "--now", "14:40"),
        ("measures", "prolonged"),
        ("sensors", "back=left", "--rate", "140", "--pulse", "80", "--no-rises"),
    ):
        code, out, _ = ebbline(*arguments, "--json", "-")
        assert code == 0
        assert json.loads(out)


def test_the_risk_factors_are_listed(ebbline):
    code, out, _ = ebbline("reviews", "--factors")
    assert code == 0
    assert "meconium: Meconium in the fluid [NICE NG229" in out


def test_reviews_say_what_is_overdue(ebbline):
    known = ("--now", "14:40", "--stage", "first", "--risk", "raised", "--method", "continuous")
    code, out, _ = ebbline("reviews", "trace=14:05", "pulse=14:30", *known)
    assert code == 0
    assert "OVERDUE by 20 min (last 14:05, due 14:20)" in out
    assert "The mother's pulse: due in 50 min" in out


def test_a_time_after_now_is_yesterdays(ebbline):
    code, out, _ = ebbline("reviews", "trace=23:50", "--now", "0:10", "--stage", "first")
    assert code == 0
    assert "OVERDUE by 5 min" in out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("trace=25:00",), ("not a time",)),
        (("trase=14:00",), ("trace",)),
        (("--factor", "meconiumm"), ("meconium",)),
        (("--guideline", "ours"), ("acog",)),
        (("--now", "noon"), ("--now",)),
    ],
)
def test_reviews_refuse_what_cannot_be(ebbline, arguments, words):
    refused(ebbline("reviews", *arguments), *words)


def test_measures_are_worded_as_options(ebbline):
    code, out, _ = ebbline("measures", "recurrent-variable", "tachysystole")
    assert code == 0
    assert "not orders" in out
    assert "Amnioinfusion" in out
    refused(ebbline("measures"), "tachysystole")
    refused(ebbline("measures", "tachysystoly"), "Did you mean")


def test_a_plate_is_drawn_for_the_letters_of_a_position(ebbline, tmp_path):
    target = tmp_path / "plate.svg"
    code, _, _ = ebbline("plate", "ROP", str(target))
    assert code == 0
    assert "vertex ROP" in target.read_text().replace("Vertex", "vertex")
    code, _, err = ebbline("plate", "RPO", str(tmp_path / "other.svg"))
    assert code != 0
    assert "ROP" in err


def test_measures_know_the_class_and_the_clock(ebbline):
    _, out, _ = ebbline("measures", "prolonged", "--lasting", "4", "--class", "Category III")
    assert out.startswith("THE CALL, BY THE CLASS")
    assert "from 3 min NOW" in out
    assert "from 9 min not yet" in out


def test_what_was_tried_is_ticked_off(ebbline):
    options = ("--stage", "first", "--valid", "60", "--trouble", "signal-lost")
    _, out, _ = ebbline("sensors", "back=left", *options, "--tried", "gel=nothing")
    assert "TRIED (for the record)" in out
    assert "gel under the whole face" not in out
    code, _, err = ebbline("sensors", "back=left", *options, "--tried", "gel=maybe")
    assert code != 0
    assert "helped" in err


def test_a_time_written_without_a_colon_is_read(ebbline):
    _, out, _ = ebbline("reviews", "trace=1405", "--now", "14:40", "--stage", "first")
    assert "last 14:05" in out
