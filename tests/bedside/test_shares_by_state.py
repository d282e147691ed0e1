"""What every state makes the hands, the finger and the probe say, recounted from the tables.

The tables are given for a back or head on the left; a state on the right must say the mirror image.
"""

from __future__ import annotations

import numpy as np
import pytest

from ebbline.bedside import ExamContext, Examiner, Hindrance, tables
from ebbline.bedside.accuracy import direction_confusion, skill_for
from ebbline.bedside.findings_catalogue import DIRECTIONS, items
from ebbline.bedside.geometry import abdomen_for, heart_zone_shares
from ebbline.bedside.likelihood import Domain, domains_for, heart_astray
from ebbline.bedside.states import POSITIONS, Pole, State, states
from ebbline.bedside.tables import Line
from ebbline.terms import Lie, Presentation

CONTEXT = ExamContext(weeks=39)
SIDES = {"left": "right", "right": "left"}


def domain(name: str, context: ExamContext = CONTEXT) -> Domain:
    return next(one for one in domains_for(context) if one.name == name)


def said(item: str, context: ExamContext = CONTEXT) -> np.ndarray:
    """Shares of an item's outcomes in each state, whatever was perceived."""
    of = next(one for one in domains_for(context) if item in one.said)
    return np.einsum(
        "sc,sco->so",
        of.confusion,
        np.broadcast_to(of.said[item], (len(states()), *of.said[item].shape[1:])),
    )


def mirrored(word: str) -> str:
    return " ".join(SIDES.get(part, part) for part in word.replace(",", " ,").split()).replace(
        " ,", ","
    )


def row(item: str, shares: dict[str, float], floor: float = tables.FLOOR) -> np.ndarray:
    """Shares with a least share for each outcome, scaled to one."""
    made = dict.fromkeys(items()[item].outcomes, floor)
    for word, share in shares.items():
        (at,) = items()[item].covered(word)
        made[items()[item].outcomes[at]] += share
    return np.array(list(made.values())) / sum(made.values())


def by_given(lines: tuple[Line, ...]) -> dict[str, dict[str, float]]:
    """Shares by what is given, those of the mirror images beside them."""
    found = {
        mirrored(line.given): {mirrored(w): s for w, s in line.shares.items()} for line in lines
    }
    return found | {line.given: dict(line.shares) for line in lines}


@pytest.mark.parametrize("examiner", list(Examiner))
@pytest.mark.parametrize("hindrances", [(), (Hindrance.TENSE_UTERUS, Hindrance.THICK_WALL)])
def test_shares_of_every_item_sum_to_one_in_every_state(
    examiner: Examiner, hindrances: tuple[Hindrance, ...]
) -> None:
    context = ExamContext(weeks=39, examiner=examiner, hindrances=hindrances)
    for one in domains_for(context):
        np.testing.assert_allclose(one.confusion.sum(axis=1), 1.0, atol=1e-12)
        for item, shares in one.said.items():
            np.testing.assert_allclose(shares.sum(axis=-1), 1.0, atol=1e-9, err_msg=item)
            assert (shares >= 0).all()


def pole(state: State) -> str:
    """What truly lies where, in the words of the tables."""
    side = state.position.value.split()[0]
    if state.lie is Lie.LONGITUDINAL:
        return "head" if state.presentation in (
            Presentation.VERTEX, Presentation.BROW, Presentation.FACE
        ) else "breech"  # fmt: skip
    return {
        Pole.NEITHER: f"across, head {side}",
        Pole.HEAD: f"oblique, head low {side}",
        Pole.BREECH: f"oblique, breech low, head {side}",
    }[state.lower_pole]


@pytest.mark.parametrize(
    ("item", "lines"),
    [
        ("fundus", tables.FUNDUS),
        ("poles", tables.POLES),
        ("brim", tables.BRIM),
        ("presentation", tables.PRESENTATION),
    ],
)
def test_what_the_hands_say_of_the_poles_follows_what_they_perceive(
    item: str, lines: tuple[Line, ...]
) -> None:
    """Hands that perceive rightly: the class that is perceived most is the true one."""
    poles = domain("poles")
    given = by_given(lines)
    floor = 0.0 if item == "presentation" else tables.FLOOR
    gone = row(item, {"nothing": 1.0}) if item == "brim" else 0.0
    for i, state in enumerate(states()):
        true = int(np.argmax(poles.confusion[i]))
        shares = given[pole(state)]
        plain = row(item, shares, floor)
        if mirrored(pole(state)) == pole(state):
            plain = (plain + row(item, {mirrored(w): s for w, s in shares.items()}, floor)) / 2
        sunk = 0.0
        if item == "brim" and state.lie is Lie.LONGITUDINAL:
            sunk = tables.NOTHING_ABOVE_BRIM.get(state.descent, 0.0)
        here = np.broadcast_to(poles.said[item], (len(states()), *poles.said[item].shape[1:]))
        np.testing.assert_allclose(here[i, true], (1 - sunk) * plain + sunk * gone, atol=1e-9)


BACKS = [*DIRECTIONS, "across front", "across spine"]


def back(state: State) -> str:
    if state.lie is Lie.LONGITUDINAL:
        # The occiput looks where the back does, the chin and the brow the other way.
        turned = state.presentation in (Presentation.FACE, Presentation.BROW)
        at = POSITIONS.index(state.position)
        return DIRECTIONS[(at + 4) % 8 if turned else at]
    return "across front" if state.position.value.endswith("anterior") else "across spine"


@pytest.mark.parametrize(
    ("item", "lines"),
    [("back", tables.BACK), ("limbs", tables.LIMBS), ("position", tables.POSITION)],
)
def test_what_the_hands_say_of_the_back_follows_the_direction_they_perceive(
    item: str, lines: tuple[Line, ...]
) -> None:
    given = by_given(lines)
    floor = 0.0 if item == "position" else tables.FLOOR
    shares = domain("back").said[item][0]
    for at, where in enumerate(BACKS):
        plain = row(item, given[where], floor)
        if mirrored(where) == where:
            flipped = row(item, {mirrored(w): s for w, s in given[where].items()}, floor)
            plain = (plain + flipped) / 2
        np.testing.assert_allclose(shares[at], plain, atol=1e-9, err_msg=where)


def test_hands_that_know_perceive_the_true_direction_more_often_than_by_chance() -> None:
    experienced = ExamContext(weeks=39, examiner=Examiner.EXPERIENCED)
    confusion = domain("back", experienced).confusion
    for i, state in enumerate(states()):
        assert confusion[i, BACKS.index(back(state))] > 1.5 / 8, state


def test_the_prominence_is_the_brow_of_a_flexed_head_and_the_occiput_of_an_extended_one() -> None:
    absent = row("prominence", dict(tables.PROMINENCE_NO_HEAD.shares))
    gone = row("prominence", {"not felt": 1.0})
    shares = domain("back").said["prominence"]
    for i, state in enumerate(states()):
        lost = tables.PROMINENCE_LOST.get(state.descent, 0.0)
        head = pole(state) == "head"
        given = by_given(tables.PROMINENCE[state.attitude.value]) if head else {}
        for at, where in enumerate(BACKS):
            plain = absent
            if where in given:
                plain = row("prominence", given[where])
                if mirrored(where) == where:
                    flipped = {mirrored(w): s for w, s in given[where].items()}
                    plain = (plain + row("prominence", flipped)) / 2
            wanted = (1 - lost) * plain + lost * gone if head else absent
            np.testing.assert_allclose(shares[i, at], wanted, atol=1e-9)


def levelled(item: str, rows: list[np.ndarray], lapse: float) -> np.ndarray:
    """Rows of the states and their mirror images; a lapse says what is said on the whole."""
    made = np.array(rows)
    outcomes = items()[item].outcomes
    turn = {
        "left front to right rear": "right front to left rear",
        "right front to left rear": "left front to right rear",
    }
    order = [outcomes.index(turn.get(w, mirrored(w))) for w in outcomes]
    of = {(s.lie, s.presentation, s.position.value, s.attitude, s.descent, s.lower_pole): i
          for i, s in enumerate(states())}  # fmt: skip
    twin = [
        of[s.lie, s.presentation, mirrored(s.position.value), s.attitude, s.descent, s.lower_pole]
        for s in states()
    ]
    made = (made + made[twin][:, order]) / 2
    mean = made.mean(axis=0)
    mean = (mean + mean[order]) / 2
    return (1 - lapse) * made + lapse * mean


def test_the_shape_is_long_or_broad_or_slanting_as_it_lies_and_dips_over_a_back_behind() -> None:
    given = {line.given: dict(line.shares) for line in tables.SHAPE}
    rows = []
    for state in states():
        name = state.lie.value
        if state.lie is Lie.LONGITUDINAL and back(state) in ("left rear", "rear", "right rear"):
            name = "longitudinal, back behind"
        rows.append(row("shape", given[name]))
    lapse = 1.5 * skill_for(CONTEXT).lapse
    np.testing.assert_allclose(said("shape"), levelled("shape", rows, lapse), atol=1e-9)


def test_kicks_are_felt_far_from_the_head_and_away_from_the_back() -> None:
    heights = {line.given: line.shares for line in tables.KICK_HEIGHT}
    sides = by_given(tables.KICK_SIDE) | {
        "head to the right": {"left": 0.62, "middle": 0.24, "right": 0.14}
    }
    rows = []
    for state in states():
        if state.lie is Lie.LONGITUDINAL:
            up = heights["head low" if pole(state) == "head" else state.presentation.value]
            across = sides[back(state)]
        else:
            up = heights["across"]
            across = sides[f"head to the {state.position.value.split()[0]}"]
        felt = {
            f"{h} {s}".removesuffix(" middle") if h == "middle" else f"{h} {s}": a * b
            for h, a in up.items()
            for s, b in across.items()
        }
        noticed = 1 - tables.KICKS_NOT_NOTICED
        shares = {word: noticed * share for word, share in felt.items()}
        rows.append(row("movement", shares | {"not noticed": tables.KICKS_NOT_NOTICED}))
    lapse = 1.5 * skill_for(CONTEXT).lapse
    np.testing.assert_allclose(said("movement"), levelled("movement", rows, lapse), atol=1e-9)


def test_a_finger_meets_what_presents_the_oftener_the_lower_it_is() -> None:
    given = {line.given: line.shares for line in tables.PART}
    rows = []
    for state in states():
        along = state.lie is Lie.LONGITUDINAL
        name = state.presentation.value if along else (
            "oblique" if state.lie is Lie.OBLIQUE else "across"
        )  # fmt: skip
        nothing = tables.NOTHING_REACHED[str(state.descent) if along else "across"]
        met = {word: (1 - nothing) * share for word, share in given[name].items()}
        rows.append(row("part", met | {"nothing reached": nothing}, tables.FINGER_FLOOR))
    np.testing.assert_allclose(said("part"), levelled("part", rows, 0.0), atol=1e-9)


def test_the_station_follows_the_fifths() -> None:
    given = {line.given: dict(line.shares) for line in tables.STATION}
    rows = [row("station", given[str(state.descent)]) for state in states()]
    lapse = skill_for(CONTEXT).lapse
    np.testing.assert_allclose(said("station"), levelled("station", rows, lapse), atol=1e-9)


def test_mobility_and_fifths_follow_the_fifths_that_are_perceived() -> None:
    descent = domain("descent")
    given = {line.given: dict(line.shares) for line in tables.MOBILITY}
    for fifths in range(6):
        assert descent.said["mobility"][0, fifths] == pytest.approx(
            row("mobility", given[str(fifths)])
        )
        assert descent.said["fifths"][0, fifths, fifths] == pytest.approx(1 - 5 * tables.FLOOR)
        assert np.delete(descent.said["fifths"][0, fifths], fifths) == pytest.approx(tables.FLOOR)
    for i, state in enumerate(states()):
        assert np.argmax(descent.confusion[i]) == state.descent


@pytest.mark.parametrize(
    ("item", "turned"),
    [
        # Which way a landmark looks, in eighths from the denominator (occiput; brow: frontum).
        ("posterior-fontanelle", {Presentation.VERTEX: 0, Presentation.BROW: 4}),
        ("anterior-fontanelle", {Presentation.VERTEX: 4, Presentation.BROW: 0}),
        ("suture", {Presentation.VERTEX: 0, Presentation.BROW: 0}),
        ("chin", {Presentation.FACE: 0}),
        (
            "sacrum",
            {
                Presentation.FRANK_BREECH: 0,
                Presentation.COMPLETE_BREECH: 0,
                Presentation.FOOTLING_BREECH: 0,
            },
        ),
    ],
)
def test_a_landmark_is_met_where_it_looks(item: str, turned: dict[Presentation, int]) -> None:
    reached = {
        "posterior-fontanelle": tables.POSTERIOR_FONTANELLE_REACHED,
        "anterior-fontanelle": tables.ANTERIOR_FONTANELLE_REACHED,
        "suture": tables.SUTURE_REACHED,
    }
    places = 4 if item == "suture" else 8
    shares = domain("landmarks").said[item]
    for i, state in enumerate(states()):
        share = tables.FALSELY_REACHED
        if state.presentation in turned:
            share = {"chin": tables.CHIN_REACHED, "sacrum": tables.SACRUM_REACHED}.get(
                item
            ) or reached[item][state.attitude.value]
        for felt in range(8):
            wanted = np.full(places + 1, tables.FLOOR)
            # One that is not there is met, by mistake, as on a vertex.
            by = turned.get(state.presentation, 4 if item == "anterior-fontanelle" else 0)
            wanted[(felt + by) % places] += share
            wanted[-1] += 1 - share
            np.testing.assert_allclose(shares[i, felt], wanted / wanted.sum(), atol=1e-9)


def test_a_landmark_is_perceived_in_the_direction_of_the_denominator() -> None:
    confusion = domain("landmarks").confusion
    wanted = direction_confusion(skill_for(CONTEXT).vaginal)
    for i, state in enumerate(states()):
        assert confusion[i] == pytest.approx(wanted[POSITIONS.index(state.position)])


def test_a_scan_shows_how_it_lies_and_where_the_back_looks() -> None:
    given = {line.given: dict(line.shares) for line in tables.SCAN}
    exact = direction_confusion(tables.SCAN_BACK_EXACT)
    rows, backs = [], []
    for state in states():
        name = {Lie.OBLIQUE: "oblique", Lie.TRANSVERSE: "across"}.get(state.lie, pole(state))
        rows.append(row("scan", given[name], tables.SCAN_FLOOR))
        along = state.lie is Lie.LONGITUDINAL
        seen = np.append(exact[DIRECTIONS.index(back(state))] if along else np.zeros(8), not along)
        backs.append((seen + tables.FLOOR) / (1 + 9 * tables.FLOOR))
    np.testing.assert_allclose(said("scan"), levelled("scan", rows, 0.0), atol=1e-9)
    np.testing.assert_allclose(said("scan-back"), levelled("scan-back", backs, 0.02), atol=1e-9)


@pytest.mark.parametrize("examiner", list(Examiner))
def test_the_heart_is_heard_over_the_back_and_not_heard_alike_in_every_state(
    examiner: Examiner,
) -> None:
    context = ExamContext(weeks=39, examiner=examiner)
    lapse = skill_for(context).lapse
    assert heart_astray(skill_for(context)) == pytest.approx(1.5 * lapse)
    zones = heart_zone_shares(abdomen_for(context), tables.LISTENING_SPREAD_CM, 1.5 * lapse)
    zones = zones + tables.FLOOR
    zones = (1 - tables.HEART_NOT_HEARD_SHARE) * zones / zones.sum(axis=1, keepdims=True)
    rows = list(np.column_stack([zones, np.full(len(zones), tables.HEART_NOT_HEARD_SHARE)]))
    np.testing.assert_allclose(said("heart", context), levelled("heart", rows, 0.0), atol=1e-9)
