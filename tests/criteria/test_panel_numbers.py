"""The panel's numbers against their definitions in NumPy, and the borders of what it answers.

A number is what its name says of the window (see `panel_features`); the ranges in which the panel
answers are those of the readings it was made from (docs/panel.md).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from criteria.build import (
    acceleration,
    contractions,
    gradual,
    late,
    mother,
    sinusoidal,
    trace,
    variable,
)
from ebbline.criteria import panel
from ebbline.criteria.panel import (
    PanelTerm,
    from_dict,
    panel_model,
    panel_reading,
    panel_silence,
    parts,
    split,
    window_before,
)
from ebbline.criteria.panel_features import FEATURES, measure
from ebbline.features.findings import Curve, Findings
from ebbline.recording.model import Context
from ebbline.terms import Stage, Window

LABOUR = Context(weeks=40, stage=Stage.FIRST)
SECOND = Context(weeks=40, stage=Stage.SECOND)
LESS_IS_WORSE = {
    "time risen 12 bpm over the baseline",
    "accelerations in 10 min",
    "fine variability of the quietest minutes",
}


def labour(draw: np.random.Generator, minutes: int = 80, **words: Any) -> Findings:
    """Findings with curves in which every border of the panel's numbers is met."""
    seconds = 60 * minutes
    rate = draw.choice([79.0, 80.0, 81.0, 90.0, 99.0, 100.0, 120.0, 140.0, 165.0, 166.0], seconds)
    rate = np.repeat(rate[::7], 7)[:seconds]
    rate[draw.random(seconds) < 0.1] = np.nan
    level = np.repeat(draw.choice([105.0, 112.0, 128.0, 140.0, 145.0, 153.0], minutes), 60)
    level[draw.random(seconds) < 0.2] = np.nan
    squeezes = contractions(minutes, every_s=200.0)
    falls = [
        replace(
            made,
            certainty=float(draw.choice([0.5, 0.6, 0.7])),
            valid_share=float(draw.choice([0.5, 1.0])),
            shallow=bool(draw.random() < 0.2),
        )
        for one in squeezes
        if draw.random() < 0.6
        for made in (
            late(one, depth=float(draw.uniform(15, 60)), return_s=float(draw.uniform(20, 90)))
            if draw.random() < 0.5
            else variable(one, depth=float(draw.uniform(15, 60)), duration_s=float(
                draw.choice([40.0, 130.0]))),
        )
    ]  # fmt: skip
    rises = [acceleration(float(at)) for at in draw.uniform(0, seconds, 7)]
    made = trace(
        minutes,
        uterus=squeezes,
        decelerations=falls,
        accelerations=rises,
        bandwidth=draw.choice([2.0, 5.0, 6.0, 25.0, 26.0, np.nan], minutes).tolist(),
        rate=rate.tolist(),
        **words,
    )
    fine = draw.choice([3.0, 4.0, 5.0, 9.0, np.nan], minutes)
    fetal = replace(
        made.fetal,
        baseline_curve=Curve(0.0, 1.0, level),
        fine_bandwidth=Curve(0.0, 60.0, fine),
    )
    return replace(made, fetal=fetal)


def percent(flags: np.ndarray) -> float:
    return 100.0 * float(np.mean(flags)) if len(flags) else 0.0


def plainly(findings: Findings, window: Window) -> dict[str, float]:
    """Every number of a window once more, from its name."""
    fetal = findings.fetal
    first, last = round(window.start_s), round(window.end_s)
    rate, level = fetal.rate_curve.values[first:last], fetal.baseline_curve.values[first:last]
    above = (rate - level)[np.isfinite(rate) & np.isfinite(level)]
    rate, level = rate[np.isfinite(rate)], level[np.isfinite(level)]
    band, fine = (
        curve.values[first // 60 : last // 60] for curve in (fetal.bandwidth, fetal.fine_bandwidth)
    )
    band, fine = band[np.isfinite(band)], fine[np.isfinite(fine)]
    earlier = fetal.baseline_curve.values[:first][::-1][::10]
    earlier = earlier[np.isfinite(earlier)]
    falls = [
        d
        for d in fetal.decelerations
        if not d.shallow and d.onset_s < window.end_s and d.end_s > window.start_s
    ]
    depths = [*sorted((d.depth_bpm for d in falls), reverse=True), 0.0, 0.0]
    returns = [*sorted((d.return_s for d in falls), reverse=True), 0.0, 0.0]
    tens = (last - first) / 600.0
    rises = sum(window.start_s <= a.peak_s < window.end_s for a in fetal.accelerations)
    middle = float(np.median(level)) if len(level) else 140.0
    longest = run = 0
    for bpm in rate:
        run = run + 1 if bpm < 80 else 0
        longest = max(longest, run)
    fallen = float(np.median(earlier)) - middle if len(earlier) else 0.0
    return {
        "time under 100 bpm": percent(rate < 100),
        "time under 80 bpm": percent(rate < 80),
        "time over 165 bpm": percent(rate > 165),
        "time risen 12 bpm over the baseline": percent(above > 12),
        "accelerations in 10 min": rises / tens,
        "minutes of marked variability": percent(band > 25),
        "minutes of reduced fine variability": percent(fine < 4),
        "fine variability of the quietest minutes": (
            float(np.quantile(fine, 0.2)) if len(fine) else 8.0
        ),
        "time under 90 bpm": percent(rate < 90),
        "longest run under 80 bpm": longest,
        "minutes of bandwidth 5 bpm or less": percent(band <= 5),
        "depth of the deepest deceleration": depths[0],
        "depth of the second deepest deceleration": depths[1],
        "second slowest return from a nadir": returns[1],
        "area of decelerations": sum(d.area_bpm_s * d.valid_share for d in falls) / 60,
        "sure decelerations in 10 min": sum(d.certainty > 0.6 for d in falls) / tens,
        "late or prolonged decelerations in 10 min": (
            sum(d.kind.value in ("late", "prolonged") for d in falls) / tens
        ),
        "baseline over 145 bpm": max(0.0, middle - 145),
        "baseline under 112 bpm": max(0.0, 112 - middle),
        "baseline fallen since before the window": max(0.0, fallen),
        "range of the baseline": (
            float(np.quantile(level, 0.95) - np.quantile(level, 0.05)) if len(level) else 0.0
        ),
    }


def test_every_number_is_what_its_name_says() -> None:
    """Against NumPy's own means, medians and quantiles."""
    draw = np.random.default_rng(11)
    for number in range(60):
        findings = labour(draw)
        minutes, start = int(draw.choice([5, 20, 30, 40])), int(draw.choice([0, 10, 30]))
        window = Window(60.0 * start, 60.0 * (start + minutes))
        if number % 9 == 0:
            blank = Curve(0.0, 1.0, np.full(4800, np.nan))
            still = Curve(0.0, 60.0, np.full(80, np.nan))
            fetal = replace(findings.fetal, baseline_curve=blank, fine_bandwidth=still)
            findings = replace(findings, fetal=fetal)
        meant = plainly(findings, window)
        seen = dict(zip((f.name for f in FEATURES), measure(findings, window), strict=True))
        assert seen.keys() == meant.keys()
        for name, value in meant.items():
            assert seen[name] == pytest.approx(value, abs=1e-9), (number, name)


def test_a_window_that_begins_before_the_recording_has_what_was_recorded() -> None:
    findings = labour(np.random.default_rng(3))
    whole, early = (measure(findings, Window(start, 1800.0)) for start in (0.0, -120.0))
    names = [f.name for f in FEATURES if f.unit == "%" or f.name.startswith(("depth", "second"))]
    for feature, one, other in zip(FEATURES, whole, early, strict=True):
        if feature.name in names:
            assert one == other, feature.name


def test_numbers_do_not_hang_on_where_the_curves_begin() -> None:
    """Ten minutes later, all that a window has is the same, but for what was before it."""
    made, window = labour(np.random.default_rng(5)), Window(1200.0, 3000.0)
    names = ("rate_curve", "baseline_curve")
    later = {name: Curve(600.0, 1.0, getattr(made.fetal, name).values[600:]) for name in names}
    shortened = replace(made, fetal=replace(made.fetal, **later))
    for feature, one, other in zip(
        FEATURES, measure(made, window), measure(shortened, window), strict=True
    ):
        if feature.name != "baseline fallen since before the window":
            assert one == pytest.approx(other), feature.name


def test_what_is_kept_of_a_window_cannot_be_written_over() -> None:
    values = measure(labour(np.random.default_rng(4)), Window(0.0, 1800.0))
    with pytest.raises(ValueError, match="read-only"):
        values[0] = 1.0


def test_less_is_worse_of_three_numbers_and_more_of_all_others() -> None:
    assert {f.name for f in FEATURES if f.worse == -1} == LESS_IS_WORSE
    assert {f.worse for f in FEATURES} == {1, -1}


# ---------------------------------------------------------------- the arithmetic


def test_parts_are_how_far_a_value_has_come_between_two_knots() -> None:
    """By hand: 15 is half way from 10 to 20 and has not begun from 20 to 40."""
    knots = np.array([10.0, 20.0, 40.0])
    assert parts(15.0, knots, 1).tolist() == [0.5, 0.0]
    assert parts(15.0, knots, -1).tolist() == [0.5, 1.0]
    assert parts(25.0, knots, 1).tolist() == [1.0, 0.25]
    assert parts(np.array([0.0, 99.0]), knots, 1).tolist() == [[0.0, 0.0], [1.0, 1.0]]


@pytest.mark.parametrize("worse", [1, -1])
def test_points_are_the_parts_weighted_less_what_is_usual(worse: int) -> None:
    term = PanelTerm("some", np.array([10.0, 20.0, 40.0]), np.array([2.0, 3.0]), usual=0.7)
    for value in (0.0, 10.0, 15.0, 20.0, 33.0, 40.0, 90.0):
        meant = float(parts(value, term.knots, worse) @ term.weights) - 0.7
        assert term.points(value, worse) == pytest.approx(meant)


def test_a_split_is_that_of_proportional_odds() -> None:
    """McCullagh 1980: the log odds of at most a class are its cut less the score."""
    for score in (-3.0, 0.0, 0.4, 2.0):
        cuts = (0.5, 1.5)
        normal, suspicious, pathological = split(score, cuts)
        assert math.log(normal / (1 - normal)) == pytest.approx(cuts[0] - score)
        assert math.log((normal + suspicious) / pathological) == pytest.approx(cuts[1] - score)
    assert split(-9e9, (0.5, 1.5))[0] == pytest.approx(1.0)
    assert split(9e9, (0.5, 1.5))[2] == pytest.approx(1.0)


def test_a_score_on_a_cut_has_not_passed_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without what the lost part of this window may hold: that is held against the cuts, too."""
    monkeypatch.setattr(panel, "LOSS_POINTS", 0.0)
    monkeypatch.setattr(panel, "SILENT_POINTS", 0.0)
    findings, window = labour(np.random.default_rng(5)), Window(0.0, 1800.0)
    found = panel_reading(findings, window, LABOUR)
    assert found is not None
    model = panel_model()
    for cuts, label in (
        ((found.score, found.score + 1), "normal"),
        ((found.score - 1, found.score), "suspicious"),
        ((found.score - 2, found.score - 1), "pathological"),
    ):
        moved = replace(model, label_cuts={"first": cuts, "second": (99.0, 99.0)})
        again = panel_reading(findings, window, LABOUR, moved)
        assert again is not None
        assert again.label == label
    sizes = [abs(c.points) for c in found.contributions]
    assert sizes == sorted(sizes, reverse=True)


def test_a_model_is_read_as_it_was_saved() -> None:
    saved = {
        "version": "1", "data": "made up", "history": 0.25,
        "terms": [{"name": "a", "knots": [1, 2], "weights": [0.5], "usual": 3.0}],
        "cuts": {"first": [-1.0, 2.0]}, "label_cuts": {"first": [-0.5, 1.5]},
    }  # fmt: skip
    read = from_dict(saved)
    assert (read.cuts, read.label_cuts) == ({"first": (-1.0, 2.0)}, {"first": (-0.5, 1.5)})
    assert (read.version, read.data, read.history) == ("1", "made up", 0.25)
    assert [(one.name, one.knots.tolist(), one.usual) for one in read.terms] == [("a", [1, 2], 3.0)]


def test_the_earlier_half_hour_counts_by_the_model_s_share() -> None:
    findings = labour(np.random.default_rng(7))
    window, before = Window(2400.0, 4200.0), Window(600.0, 2400.0)
    found, earlier = (panel_reading(findings, w, LABOUR) for w in (window, before))
    assert found is not None and earlier is not None
    own = {c.finding: c.points for c in earlier.contributions if not math.isnan(c.value)}
    share = panel_model().history
    for part in found.before:
        assert part.points == pytest.approx(share * own[part.finding])
    sizes = [abs(c.points) for c in found.before]
    assert sizes == sorted(sizes, reverse=True)


# ---------------------------------------------------------------- what is answered


def seen_for(seconds: int, of: int = 1800, *, from_s: int = 0) -> Findings:
    """A recording in which so many seconds of the first half hour were seen."""
    rate = np.full(4800, 140.0)
    rate[from_s : from_s + of] = np.nan
    rate[from_s : from_s + seconds] = 140.0
    return trace(80, rate=rate.tolist())


@pytest.mark.parametrize(
    ("seconds", "answered"), [(809, False), (810, True), (811, True)]
)  # fmt: skip
def test_the_panel_answers_down_to_45_per_cent_of_signal(seconds: int, answered: bool) -> None:
    """It read no window with more than 55 % lost (docs/panel.md); one with so much may still be
    left unanswered, for what the loss may hide. Two values a second say no more than one."""
    made = seen_for(seconds)
    finer = Curve(0.0, 0.5, np.repeat(made.fetal.rate_curve.values, 2))
    for one in (made, replace(made, fetal=replace(made.fetal, rate_curve=finer))):
        silent = panel_silence(one, Window(0.0, 1800.0), LABOUR)
        assert ("% of the signal is lost" in silent) is not answered


@pytest.mark.parametrize(("seconds", "answered"), [(239, False), (240, True)])
def test_the_panel_asks_for_four_minutes_of_signal(seconds: int, answered: bool) -> None:
    silent = panel_silence(seen_for(seconds, 300), Window(0.0, 300.0), SECOND)
    assert (silent == "") is answered


@pytest.mark.parametrize(
    ("context", "minutes", "answered"),
    [
        (LABOUR, 19.9, False),
        (LABOUR, 20.0, True),
        (LABOUR, 40.0, True),
        (LABOUR, 40.1, False),
        (SECOND, 4.5, True),
        (SECOND, 40.0, True),
        (SECOND, 40.1, False),
        (SECOND, 3.9, False),
    ],
)
def test_the_panel_answers_windows_as_long_as_it_read(
    context: Context, minutes: float, answered: bool
) -> None:
    """30 minutes in the first stage, 5 to 30 in the second, and a third to spare."""
    silent = panel_silence(trace(80, rate=[140.0] * 4800), Window(0.0, 60 * minutes), context)
    assert (silent == "") is answered
    if not answered and minutes > 4:
        assert f"the panel read {'5 to 30' if context is SECOND else '30'}" in silent


@pytest.mark.parametrize(("weeks", "answered"), [(36.9, False), (37.0, True), (None, True)])
def test_the_panel_answers_from_37_weeks_on(weeks: float | None, answered: bool) -> None:
    context = Context(weeks=weeks, stage=Stage.FIRST)
    findings = trace(80, rate=[140.0] * 4800)
    assert (panel_silence(findings, Window(0.0, 1800.0), context) == "") is answered


def test_the_panel_answers_for_a_single_fetus_with_a_rate_fine_enough() -> None:
    findings = trace(80, rate=[140.0] * 4800)
    for changed, words in (
        (replace(findings.fetal, fetus=2), "twin"),
        (replace(findings.fetal, rate_hz=0.5), "too coarse"),
        (replace(findings.fetal, artefacts=(mother(100.0, 160.0),)), "whose rate"),
    ):
        silent = panel_silence(replace(findings, fetal=changed), Window(0.0, 1800.0), LABOUR)
        assert words in silent


@pytest.mark.parametrize(
    ("start", "end", "pseudo", "answered"),
    [
        (600.0, 1200.0, False, True),
        (600.0, 1201.0, False, False),
        (600.0, 1201.0, True, True),
        (2999.0, 3600.0, False, False),
        (3000.0, 3600.0, False, True),
    ],
)
def test_the_panel_is_silent_where_a_sinusoidal_pattern_reaches_in(
    start: float, end: float, pseudo: bool, answered: bool
) -> None:
    findings = trace(80, rate=[140.0] * 4800, undulation=[sinusoidal(start, end, pseudo=pseudo)])
    assert (panel_silence(findings, Window(1200.0, 3000.0), LABOUR) == "") is answered


def test_the_panel_is_silent_without_a_baseline_in_the_window() -> None:
    nan = math.nan
    levels = [140.0, 140.0, nan, nan, nan, 140.0, 140.0, 140.0]
    findings = trace(80, rate=[140.0] * 4800, baseline=levels)
    assert panel_silence(findings, Window(1200.0, 3000.0), LABOUR) == "no baseline in the window"
    assert panel_silence(findings, Window(1199.0, 2999.0), LABOUR) == ""


def test_the_panel_is_silent_after_a_fall_to_another_level() -> None:
    """Its numbers have no fall for a rate that went down and stayed."""
    down = [140.0] * 2400 + [115.0] * 2400
    for minutes, silent in ((10, True), (39, False)):
        findings = trace(80, rate=down, baseline=[140.0] * 4 + [115.0] * 4)
        end = 2400.0 + 60.0 * minutes
        said = panel_silence(findings, Window(end - 1800.0, end), LABOUR)
        assert ("a fall to another level" in said) is silent, minutes


@pytest.mark.parametrize(
    ("stage", "minutes", "start", "words"),
    [
        (Stage.FIRST, 30, 0.0, ()),
        (Stage.FIRST, 24.9, 0.0, ("25 minutes",)),
        (Stage.FIRST, 25, 0.0, ()),
        (Stage.FIRST, 35, 0.0, ()),
        (Stage.FIRST, 35.1, 0.0, ("35 minutes",)),
        (Stage.SECOND, 10, 0.0, ()),
        (Stage.UNKNOWN, 30, 0.0, ("stage not known",)),
        (Stage.FIRST, 30, 300.0, ("the half hour before",)),
        (Stage.FIRST, 30, 700.0, ()),
    ],
)
def test_what_was_not_as_the_panel_had_it_is_warned_of(
    stage: Stage, minutes: float, start: float, words: tuple[str, ...]
) -> None:
    window = Window(start, start + 60.0 * minutes)
    found = panel_reading(trace(80, rate=[140.0] * 4800), window, Context(weeks=40, stage=stage))
    assert found is not None
    assert len(found.warnings) == len(words)
    assert all(one in said for one, said in zip(words, found.warnings, strict=True))


@pytest.mark.parametrize(
    ("begins", "start", "before"),
    [
        (0, 3000.0, (1200.0, 3000.0)),
        (0, 1500.0, (0.0, 1500.0)),
        (0, 600.0, (0.0, 600.0)),
        (0, 599.0, None),
        (900, 1500.0, (900.0, 1500.0)),
        (901, 1500.0, None),
        (0, 0.0, None),
    ],
)
def test_the_half_hour_before_begins_with_the_first_signal(
    begins: int, start: float, before: tuple[float, float] | None
) -> None:
    """From ten minutes of it on."""
    rate = [math.nan] * begins + [140.0] * (4800 - begins)
    found = window_before(trace(80, rate=rate), Window(start, start + 1800.0))
    assert (found and (found.start_s, found.end_s)) == before


@pytest.mark.parametrize(("seconds", "seen"), [(239, False), (240, True)])
def test_the_half_hour_before_counts_from_four_minutes_of_signal(seconds: int, seen: bool) -> None:
    findings = seen_for(seconds)
    assert (window_before(findings, Window(1800.0, 3600.0)) is not None) is seen


def test_a_gradual_fall_without_its_contraction_is_not_counted_as_late() -> None:
    findings = trace(40, decelerations=[gradual(600.0)], rate=[140.0] * 2400)
    numbers = dict(zip((f.name for f in FEATURES), measure(findings, Window(0, 1800)), strict=True))
    assert numbers["late or prolonged decelerations in 10 min"] == 0.0
    assert numbers["depth of the deepest deceleration"] == 25.0
