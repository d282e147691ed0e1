"""What is said aloud: the trade's order, every number with its unit, nothing unseen called none."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from ebbline.criteria.model import Level, Standard, gravity
from ebbline.features.findings import Artefact, ArtefactKind, VariabilityClass
from ebbline.reading.bedside_bridge import class_words
from ebbline.reading.model import FetalReading, HistoryPoint
from ebbline.reading.text import say, sections
from ebbline.terms import SensorKind, Window
from reading import made


def lines_of(title: str, one: FetalReading) -> str:
    """The lines under a title."""
    part = next(p for p in sections(made.reading(one), one) if p.title.startswith(title))
    return "\n".join(part.lines)


def test_the_parts_come_in_the_trade_s_order() -> None:
    one = made.fetal(panel=made.panel())
    assert [part.title for part in sections(made.reading(one), one)] == [
        "Signal quality",
        "Contractions",
        "Baseline",
        "Variability",
        "Accelerations",
        "Decelerations",
        "Change over time",
        "Class by FIGO 2015",
        "Panel reading",
        "Not assessed",
        "Sources",
    ]


def test_contractions_are_said_as_a_rate_over_half_an_hour_with_length_and_relaxation() -> None:
    said = lines_of("Contractions", made.fetal())
    assert "4.3 in 10 min, averaged over 30 min (13 contractions in the window, by toco)" in said
    assert "No tachysystole over 30 min." in said
    assert "Duration 62 s, relaxation time 75 s, from one to the next 137 s (medians)." in said


def test_strength_is_said_only_from_a_catheter() -> None:
    toco = lines_of("Contractions", made.fetal())
    assert "not measured: only a pressure catheter shows them" in toco
    assert "Montevideo" not in toco
    summary = made.contractions(montevideo_units=214.6, resting_tone_mmhg=11.8)
    catheter = lines_of(
        "Contractions",
        made.fetal(
            findings=made.findings(SensorKind.PRESSURE_CATHETER),
            review=made.review(contractions=summary),
        ),
    )
    assert "Strength 215 Montevideo units, resting tone 12 mmHg." in catheter


def test_contractions_that_were_not_assessed_are_never_counted_as_none() -> None:
    summary = made.contractions(
        assessed=False, count=0, per_10_min=0.0, tachysystole=None, note="there is no channel"
    )
    said = lines_of("Contractions", made.fetal(review=made.review(contractions=summary)))
    assert said == "Not assessed.\nThere is no channel."


def test_untold_tachysystole_is_said_to_be_untold() -> None:
    summary = made.contractions(tachysystole=None)
    said = lines_of("Contractions", made.fetal(review=made.review(contractions=summary)))
    assert "Whether there is tachysystole cannot be told." in said
    assert "No tachysystole" not in said


@pytest.mark.parametrize("title", ["Accelerations", "Decelerations"])
@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"valid_share": 1.0}, "None."),
        (
            {"valid_share": 0.64},
            "None seen in the 64 % of the window with valid signal.",
        ),
        (
            {"valid_share": 0.999},
            "None seen in the 99 % of the window with valid signal.",
        ),
        ({"valid_share": 0.0}, "Not assessed: no valid signal."),
        ({"valid_share": made.NAN}, "Not assessed: no valid signal."),
        (
            {"baseline_bpm": made.NAN},
            "Not assessed: none recognised, and without a baseline none can be excluded.",
        ),
    ],
)
def test_none_is_said_only_of_the_signal_that_was_there(
    title: str, changes: dict[str, float], said: str
) -> None:
    review = made.review(accelerations=0, decelerations=(), **changes)
    assert lines_of(title, made.fetal(review=review)) == said


def test_a_deceleration_is_said_with_kind_number_share_depth_length_and_concern() -> None:
    said = lines_of("Decelerations", made.fetal())
    assert said == (
        "Late: 8, with 62 % of the window's contractions, recurrent (NICHD, in some 20 min), "
        "depth 22 bpm (deepest 31 bpm), lasting 58 s (longest 84 s). "
        "Concerning: longer than 60 s.\n"
        "All together: repetitive (FIGO), with 66 % of contractions in the busiest 20 min."
    )


def test_recurrence_that_cannot_be_told_is_not_called_intermittent() -> None:
    unpaired = made.late(recurrent=None, repetitive=None, share_of_contractions=made.NAN)
    said = lines_of("Decelerations", made.fetal(review=made.review(decelerations=(unpaired,))))
    assert "share of contractions not known, recurrence not known" in said


def test_an_indeterminate_baseline_is_said_with_its_reason() -> None:
    review = made.review(
        baseline_bpm=made.NAN, baseline_note="less than 2 min of baseline in any 10 min"
    )
    said = lines_of("Baseline", made.fetal(review=review))
    assert said == "Indeterminate. Less than 2 min of baseline in any 10 min."


def test_a_sinusoidal_pattern_is_said_and_an_untold_one_too() -> None:
    yes = lines_of("Variability", made.fetal(review=made.review(sinusoidal=True)))
    untold = lines_of("Variability", made.fetal(review=made.review(sinusoidal=None)))
    no = lines_of("Variability", made.fetal(review=made.review(sinusoidal=False)))
    assert "Sinusoidal undulation" in yes
    assert "Whether the pattern is sinusoidal cannot be told." in untold
    assert "sinusoidal" not in no.lower()


def test_ten_minutes_are_compared_with_the_hour_before() -> None:
    said = lines_of("Change over time", made.fetal())
    assert said == (
        "1:00:00 to 1:10:00: baseline 155 bpm, variability minimal (4 bpm), 0 accelerations, "
        "3 decelerations, 4 contractions, 92 % valid. Against the hour before: baseline up "
        "15 bpm; variability from moderate to minimal."
    )


def test_ten_minutes_without_signal_are_not_called_quiet() -> None:
    empty = made.column(
        valid_share=0.0,
        contractions=None,
        baseline_bpm=made.NAN,
        bandwidth_bpm=made.NAN,
        variability=VariabilityClass.INDETERMINATE,
        decelerations=0,
        change=("not compared: no signal",),
    )
    said = lines_of("Change", made.fetal(review=made.review(columns=(empty,))))
    assert "accelerations and decelerations not assessed" in said
    assert "contractions not assessed" in said
    assert "0 decelerations" not in said


def test_every_reason_is_said_with_what_decided_where_it_was_seen_and_its_source() -> None:
    second = made.reason(
        rule="baseline.normal",
        feature="baseline",
        level=Level.REASSURING,
        verdict="normal",
        text="baseline 140 bpm, within 110 to 160 bpm",
        citation="The same standard, table 2",
    )
    one = made.fetal(classes=(made.classification(reasons=(made.reason(), second)),))
    assert lines_of("Class by FIGO 2015", one) == (
        "Pathological, 1:00:00 to 1:30:00 (30 min).\n"
        "Variability: pathological, decides. Bandwidth under 5 bpm for 62 min, more than "
        "50 min. At 0:28:00 to 1:30:00. [1]\n"
        "Baseline: normal. Baseline 140 bpm, within 110 to 160 bpm. [2]"
    )
    assert lines_of("Sources", one) == ("1. A standard, table 1.\n2. The same standard, table 2.")


def test_a_source_that_is_named_twice_keeps_its_number() -> None:
    classes = (made.classification(), made.classification(edition="another"))
    assert lines_of("Sources", made.fetal(classes=classes)) == "1. A standard, table 1."


def test_many_stretches_of_evidence_are_counted_not_listed() -> None:
    stretches = tuple(Window(60.0 * i, 60.0 * i + 30) for i in range(9))
    one = made.fetal(classes=(made.classification(reasons=(made.reason(evidence=stretches),)),))
    assert "0:03:00 to 0:03:30 and 5 more." in lines_of("Class", one)


def test_a_refused_class_is_said_with_the_refusal() -> None:
    refused = made.classification(
        label="no class", rank=-1, reasons=(), decided_by=(), refusal=("only 8 min of signal",)
    )
    said = lines_of("Class", made.fetal(classes=(refused,)))
    assert said.splitlines()[1] == "No class: only 8 min of signal."


def test_a_class_that_is_certain_at_least_leads_and_is_never_told_as_no_class() -> None:
    least = made.classification(
        label="no class", rank=-1, at_least="suspicious", refusal=("only 8 min of signal",)
    )
    said = lines_of("Class", made.fetal(classes=(least,)))
    assert said.startswith("At least suspicious,")
    assert "It may be worse: only 8 min of signal." in said
    assert "No class" not in said


def test_how_grave_a_class_is_counts_what_is_certain_and_what_is_beyond_the_letter() -> None:
    unknown = {"label": "no class", "rank": -1, "reasons": (), "decided_by": (), "refusal": ("x",)}
    best = {"label": "normal", "rank": 0, "reasons": (), "decided_by": ()}
    told = [
        made.classification(**best),
        made.classification(**unknown),
        made.classification(**best, beyond=("three prolonged falls",)),
        made.classification(**{**unknown, "at_least": "suspicious"}),
    ]
    levels = [one.level for one in told]
    assert levels == [Level.REASSURING, Level.NOT_ASSESSED, Level.CAUTION, Level.CAUTION]
    assert min(told[::-1], key=gravity) is told[0]


def test_a_class_that_is_certain_at_least_asks_for_its_measures_too() -> None:
    least = made.classification(label="no class", rank=-1, at_least="suspicious", refusal=("x",))
    assert class_words(made.fetal(classes=(least,))) == ("figo suspicious", "no class")


def test_a_fall_beyond_its_kind_is_said_to_last_until_the_rate_was_back() -> None:
    """Two minutes or more are a prolonged deceleration (NICHD 2008): a variable one that is said
    to have lasted longer was part of a row of falls."""
    row = made.fetal(review=made.review(decelerations=(made.late(count=3, longest_s=182.0),)))
    assert "longest 3 min 2 s, counted as one with the falls after it" in lines_of(
        "Decelerations", row
    )
    alone = made.fetal(review=made.review(decelerations=(made.late(count=3, longest_s=95.0),)))
    assert "longest 95 s)" in lines_of("Decelerations", alone)


def test_the_panel_is_said_as_readers_and_apart_from_the_standards() -> None:
    said = lines_of("Panel", made.fetal(panel=made.panel()))
    assert (
        "Of 9 readers, about 5 would probably call this suspicious (10 % normal, 55 % "
        "suspicious, 35 % pathological)" in said
    )
    assert "not a class of a standard" in said
    assert said.index("Late decelerations 8.0 in 30 min: +1.30") < said.index("Baseline 155.0 bpm")


def test_what_was_not_assessed_is_told_last() -> None:
    review = made.review(not_assessed=("variability: 4 of 30 min measured",))
    said = lines_of("Not assessed", made.fetal(review=review))
    assert said == "Variability: 4 of 30 min measured."


def test_the_class_over_time_puts_half_hours_alike_together() -> None:
    labels = ["normal", "normal", "suspicious", "no class"]
    history = tuple(
        HistoryPoint(1800.0 + 600.0 * n, {"figo": label}) for n, label in enumerate(labels)
    )
    assert lines_of("Class over time", made.fetal(history=history)) == (
        "FIGO, half hours by their ends: normal (0:30:00 to 0:40:00), suspicious (0:50:00), "
        "no class (1:00:00)."
    )


def test_what_a_class_could_not_see_is_told_once_with_whose_class_it_limits() -> None:
    classes = (
        made.classification(not_assessed=("contractions: no channel", "hypertonus: a toco")),
        made.classification(standard=Standard.NICE, not_assessed=("contractions: no channel",)),
    )
    one = made.fetal(classes=classes)
    assert lines_of("Not assessed", one) == (
        "Contractions: no channel (FIGO, NICE).\nHypertonus: a toco (FIGO)."
    )
    assert "2 things not seen: under Not assessed." in lines_of("Class", one)


def test_a_suspicion_of_a_wrong_rate_is_told_with_time_certainty_and_why() -> None:
    suspect = Artefact(ArtefactKind.MATERNAL, 4000.0, 4060.0, 0.7, "the rate fell to 85 bpm")
    outside = Artefact(ArtefactKind.DOUBLING, 60.0, 90.0, 0.9, "ratio 2.0")
    said = lines_of("Signal", made.fetal(findings=made.findings(artefacts=(outside, suspect))))
    assert (
        "Maternal rate suspected, 1:06:40 to 1:07:40 (certainty 70 %): the rate fell to 85 bpm."
        in said
    )
    assert "Doubling" not in said


def test_a_share_is_never_rounded_up_to_all_of_it() -> None:
    review = made.review(valid_share=0.9991)
    assert "99 % of the window valid" in lines_of("Signal", made.fetal(review=review))


def test_times_are_of_the_clock_when_the_start_is_known() -> None:
    said = say(made.reading(start="2031-03-01T23:10:00+01:00"))
    assert "1:00:00 to 1:30:00 from the start (30 min, 00:10:00 (day 2) to" in said
    assert "00:10:00 (day 2) to 00:20:00 (day 2): baseline 155 bpm" in said


def test_twins_are_said_one_after_the_other_or_one_alone() -> None:
    twins = made.reading(made.fetal(), made.fetal(fetus=2))
    both = say(twins)
    assert both.index("FETUS 1 OF 2") < both.index("FETUS 2 OF 2")
    assert "FETUS 1" not in say(twins, fetus=2)


def test_notes_and_caution_close_the_reading() -> None:
    said = say(made.reading(notes=("made for a test",)))
    assert said.index("Notes\n  Made for a test.") < said.index("Caution\n  For education")


@pytest.mark.parametrize("width", [40, 60, 80, 100])
def test_lines_keep_to_the_width_and_units_stay_with_their_numbers(width: int) -> None:
    said = say(made.reading(), width=width)
    assert max(map(len, said.splitlines())) <= width
    assert not re.search(r"\d\n\s+(bpm|min|s|%|mmHg)\b", said)


def test_text_is_plain_for_a_screen_reader() -> None:
    said = say(made.reading(made.fetal(panel=made.panel())))
    assert said.isascii()


@pytest.mark.parametrize(
    "unknown",
    [
        lambda r: replace(r, bandwidth_bpm=made.NAN, stv_ms=made.NAN, ltv_bpm=made.NAN),
        lambda r: replace(
            r,
            contractions=made.contractions(
                per_10_min=made.NAN, duration_s=made.NAN, rest_s=made.NAN, interval_s=made.NAN
            ),
        ),
        lambda r: replace(
            r, decelerations=(made.late(median_depth_bpm=made.NAN, longest_s=made.NAN),)
        ),
        lambda r: replace(r, valid_share=made.NAN, longest_gap_s=made.NAN),
    ],
)
def test_no_number_is_said_as_nan(unknown: Callable[[object], FetalReading]) -> None:
    said = say(made.reading(made.fetal(review=unknown(made.review()))))
    assert not re.search(r"\bnan\b", said)
    assert "not measured" in said
