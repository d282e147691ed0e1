"""Real recordings as cases: the windows of the collection's description, the panel as truth.

CTU-UHB: Chudacek V, et al. BMC Pregnancy and Childbirth 2014;14:16; readings: Hruban L, et al.
J Eval Clin Pract 2015.
"""

import csv
import statistics
from collections import defaultdict

import pytest

from ebbline.criteria.model import Standard
from ebbline.errors import ScenarioError
from ebbline.teach.answers import StripAnswer
from ebbline.teach.real_cases import (
    COLLECTIONS_VARIABLE,
    PanelReadings,
    RecordedEncounter,
    offered,
    panel_of,
    recorded_case,
)
from ebbline.teach.steps import AttemptError, Finish, ReadStrip, Wait
from shared_data import CTU_UHB, needs_ctu_uhb

FOLDER = CTU_UHB.parent


def test_without_the_collection_the_case_says_where_it_should_lie(monkeypatch, tmp_path):
    monkeypatch.setenv(COLLECTIONS_VARIABLE, str(tmp_path))
    with pytest.raises(ScenarioError, match="not on this computer"):
        RecordedEncounter(recorded_case("1001", 1), 0)
    monkeypatch.delenv(COLLECTIONS_VARIABLE)
    with pytest.raises(ScenarioError, match=COLLECTIONS_VARIABLE):
        RecordedEncounter(recorded_case("1001", 1), 0)


def test_the_middle_of_an_even_panel_accepts_both_neighbours():
    assert PanelReadings(("normal", "suspicious")).accepted == ("normal", "suspicious")
    assert PanelReadings(("normal", "normal", "pathological")).accepted == ("normal",)
    assert PanelReadings(("normal", "suspicious", "pathological")).accepted == ("suspicious",)


@needs_ctu_uhb
@pytest.mark.parametrize("step", [1, 2])
def test_the_panels_middle_is_the_median_of_the_experts_first_readings(step):
    said = defaultdict(dict)
    with (CTU_UHB / "expert_annotations.csv").open() as lines:
        for row in csv.DictReader(lines):
            value = int(row[f"eval_step{step}"])
            if value > 0:
                said[row["rec_id"]].setdefault(row["expert_id"], value)
    for record in ("1001", "1013", "1045", "1101", "1491"):
        if record not in said:
            continue
        median = statistics.median(said[record].values())
        accepted = panel_of(recorded_case(record, step).recorded, FOLDER).accepted
        ranks = [("normal", "suspicious", "pathological").index(word) + 1 for word in accepted]
        assert sum(ranks) / len(ranks) == pytest.approx(median, abs=0.51)


@needs_ctu_uhb
def test_the_windows_are_those_the_experts_read():
    encounter = RecordedEncounter(recorded_case("1001", 2), 0, FOLDER)
    second = encounter.recording.context.second_stage_start_s
    assert encounter.window.end_s == second
    assert encounter.window.duration_s == 1800.0
    first = RecordedEncounter(recorded_case("1001", 1), 0, FOLDER)
    assert first.window.start_s == max(0.0, second - 3600.0)


@needs_ctu_uhb
def test_a_recorded_case_is_read_scored_by_its_class_only_and_nothing_else(monkeypatch):
    monkeypatch.setenv(COLLECTIONS_VARIABLE, str(FOLDER))
    encounter = RecordedEncounter(recorded_case("1003", 3), 0)
    with pytest.raises(AttemptError, match="only read"):
        encounter.take(Wait(1))
    accepted = encounter.panel.accepted[0]
    encounter.take(
        ReadStrip(StripAnswer(encounter.window, Standard.FIGO, label=accepted, no_baseline=True))
    )
    encounter.take(Finish())
    made = encounter.score()
    assert [line.item for line in made.lines] == ["class"]
    assert made.share == 1.0
    again = RecordedEncounter.replay(recorded_case("1003", 3), 0, encounter.steps)
    assert again.score() == made
    truth = encounter.truth()
    assert "experts" in truth.source
    assert not truth.events


@needs_ctu_uhb
def test_a_step_nobody_read_is_refused():
    with pytest.raises(ScenarioError):
        RecordedEncounter(recorded_case("1007", 3), 0, FOLDER)


def test_a_recorded_case_tells_nothing_of_outcome_or_class():
    case = recorded_case("1001", 1)
    told = f"{case.title} {case.story.who} {case.story.scene} {case.story.task}"
    for word in ("pH", "Apgar", "normal", "suspicious", "pathological"):
        assert word not in told
    with pytest.raises(ScenarioError):
        recorded_case("1001", 4)


@needs_ctu_uhb
def test_recordings_are_offered_where_they_are_and_graded_by_how_far_the_experts_differ(
    monkeypatch,
):
    monkeypatch.setenv(COLLECTIONS_VARIABLE, str(FOLDER))
    cases = offered()
    assert len(cases) >= 12
    share = defaultdict(list)
    for case in cases.values():
        counts = RecordedEncounter(case, 0).panel.counts
        share[case.difficulty].append(max(counts.values()) / sum(counts.values()))
    means = [sum(s) / len(s) for _, s in sorted(share.items())]
    assert means == sorted(means, reverse=True)
    monkeypatch.delenv(COLLECTIONS_VARIABLE)
    assert offered() == {}


@needs_ctu_uhb
def test_a_recording_is_played_on_the_pages(monkeypatch, school):
    monkeypatch.setenv(COLLECTIONS_VARIABLE, str(FOLDER))
    school.sign_in("Ann")
    assert "A real recording" in school.get("/teach").text
    begun = school.post(
        "/teach/begin", data={"case": "recorded-1155-2"}, follow_redirects=False
    ).headers["location"]
    key = begun.rsplit("/", 1)[1]
    state = school.get(f"/api/teach/attempts/{key}").json()
    assert state["ready_to_read"]
    assert school.get(begun).status_code == 200
    assert len(school.get(state["traces"][0]["samples_href"]).content) > 10_000
    answer = {"window": {"start_s": 0, "end_s": 1}, "standard": "figo", "label": "pathological"}
    for step in ({"step": "read strip", "answer": answer}, {"step": "finish"}):
        taken = school.post(f"/api/teach/attempts/{key}/steps", json=step)
        assert taken.status_code == 201, taken.text
    page = school.get(f"/teach/attempts/{key}/debrief").text
    assert "9 pathological" in page
    assert "BMC Pregnancy and Childbirth" in page
    strip = school.get(f"/api/teach/attempts/{key}/debrief-strip").json()
    assert strip["items"]
