"""One page, one answer: what a review says above is held against what the classes say below.

    python -m bench.one_answer                 every fourth recording
    python -m bench.one_answer --every 1       all 276 recordings
    python -m bench.one_answer --list          names each contradiction

The last half hour of each recording, and each half hour of it that ends at a multiple of twenty
minutes, is read, and the words that are shown are held against each other: counts and patterns of
decelerations, lengths of prolonged ones, variability, contractions, the class over time, and the
four lines. Prints how many windows were read and how many contradictions of each kind were found.
"""

from __future__ import annotations

import argparse
import math
import os
import re
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from ebbline.criteria.model import Classification, Standard
from ebbline.features import detect
from ebbline.features.findings import VariabilityClass
from ebbline.reading.analyse import read_findings
from ebbline.reading.model import FetalReading, Reading
from ebbline.reading.text import sections
from ebbline.recording import open_recording
from ebbline.recording.channels import tidy
from ebbline.terms import Window

DATA = Path(os.environ.get("EBBLINE_SHARED", "../shared")) / "data" / "ctu-uhb"
HALF_HOUR_S, STEP_S = 1800.0, 1200.0

_IN_THE_WINDOW = re.compile(r"\((\d+) in the window")


def contradictions(reading: Reading, fetal: FetalReading) -> Iterator[str]:
    """Kind of each contradiction on the page of one fetus."""
    by_name = {one.standard: one for one in fetal.classes}
    page = {part.title: part.lines for part in sections(reading, fetal)}
    yield from _decelerations(fetal, by_name, page.get("Decelerations", ()))
    yield from _lengths(fetal, by_name)
    yield from _variability(fetal, by_name)
    yield from _four_lines(fetal)
    yield from _over_time(reading, fetal)
    yield from _words(page)


def _said(one: Classification, rule: str) -> str | None:
    return next((r.text for r in one.reasons if r.rule == rule), None)


def _value(one: Classification, *rules: str) -> float:
    return next((r.value for r in one.reasons if r.rule in rules), math.nan)


def _decelerations(
    fetal: FetalReading, classes: dict[Standard, Classification], lines: tuple[str, ...]
) -> Iterator[str]:
    review = fetal.review
    kinds = {one.kind: one for one in review.decelerations}
    for kind in ("late", "variable"):
        text = _said(classes[Standard.NICHD], f"nichd-{kind}")
        number = _IN_THE_WINDOW.search(text) if text else None
        if (int(number[1]) if number else 0) != (kinds[kind].count if kind in kinds else 0):
            yield f"count of {kind}: review and NICHD"
        recurs = any(
            r.rule == f"nichd-III-absent-recurrent-{kind}"
            or (r.rule == "nichd-recurrent" and f"{kind} decelerations" in r.text)
            for r in classes[Standard.NICHD].reasons
        )
        if kind in kinds and kinds[kind].count > 1 and recurs != bool(kinds[kind].recurrent):
            yield f"recurrence of {kind}: review and NICHD"
    repetitive = _said(classes[Standard.FIGO], "figo-decelerations-repetitive") is not None
    if bool(review.repetitive) != repetitive:
        yield "repetition of all: review and FIGO"
    for text in lines:
        if "not repetitive" in text and (
            _said(classes[Standard.FIGO], "figo-decelerations-late-30")
            or _said(classes[Standard.FIGO], "figo-decelerations-late-20")
            or _said(classes[Standard.NICE], "nice-late-repetitive")
        ):
            yield "said 'not repetitive' above a class that counts them so"
    white = _said(classes[Standard.NICE], "nice-decelerations-white") or ""
    normal = _said(classes[Standard.FIGO], "figo-decelerations-normal") or ""
    for name, text in (("NICE", white), ("FIGO", normal)):
        if "none in the window" in text and review.decelerations:
            yield f"'none in the window' ({name}) and decelerations in the review"
    if _said(classes[Standard.NICHD], "nichd-no-late-or-variable") and any(
        one.kind not in ("early",) for one in review.decelerations
    ):
        yield "'no late, variable or prolonged' (NICHD) and such in the review"


def _lengths(fetal: FetalReading, classes: dict[Standard, Classification]) -> Iterator[str]:
    review = fetal.review
    # A step down that has not come back is told beside the longest fall, which the classes count.
    seen = [one.longest_s for one in review.decelerations]
    falls = seen + [one.duration_s for one in review.level_falls if one.depth_bpm >= 25.0]
    every = seen + [one.duration_s for one in review.level_falls]
    longest_min = max(falls, default=0.0) / 60.0
    told_min = (longest_min, max(every, default=0.0) / 60.0, max(seen, default=0.0) / 60.0)
    for standard, rules in (
        (Standard.NICHD, ("nichd-prolonged",)),
        (Standard.FIGO, ("figo-decelerations-prolonged", "figo-decelerations-prolonged-5")),
        (Standard.NICE, ("nice-prolonged",)),
    ):
        said = _value(classes[standard], *rules)
        if said >= 2.0 and min(abs(said - one) for one in told_min) > 0.05:
            yield f"longest fall: review and {standard.value.upper()}"
    if longest_min >= 2.0 and math.isnan(_value(classes[Standard.NICHD], "nichd-prolonged")):
        yield "a fall of two minutes in the review, none by NICHD"
    for one in fetal.classes:
        for text in one.beyond:
            number = re.match(r"(\d+) prolonged falls? in the window", text)
            nichd = _said(classes[Standard.NICHD], "nichd-prolonged") or ""
            counted = _IN_THE_WINDOW.search(nichd)
            if number and counted and number[1] != counted[1]:
                yield "number of prolonged falls: above the class and NICHD"


def _variability(fetal: FetalReading, classes: dict[Standard, Classification]) -> Iterator[str]:
    review = fetal.review
    low = review.variability in (VariabilityClass.ABSENT, VariabilityClass.MINIMAL)
    for standard, white, lower in (
        (Standard.FIGO, "figo-variability-normal", "figo-variability-low"),
        (Standard.NICE, "nice-variability-white", "nice-variability-reduced-short"),
    ):
        value = _value(classes[standard], white)
        if math.isfinite(value) and low and review.bandwidth_bpm < 5.0:
            yield f"variability low in the review, normal by {standard.value.upper()}"
        value = _value(classes[standard], lower)
        if standard is Standard.FIGO and math.isfinite(value) and review.bandwidth_bpm >= 5.0:
            yield f"variability normal in the review, low by {standard.value.upper()}"
        for rule in (white, lower):
            value = _value(classes[standard], rule)
            if (
                standard is Standard.FIGO
                and math.isfinite(value)
                and abs(value - review.bandwidth_bpm) > 0.5
            ):
                yield f"bandwidth: review and {standard.value.upper()}"
    if review.sinusoidal is False and any(
        "sinusoidal" in r.rule and "pseudo" not in r.rule for c in fetal.classes for r in c.reasons
    ):
        yield "sinusoidal by a class, not in the review"
    columns = [one.variability for one in review.columns]
    nichd = classes[Standard.NICHD]
    for rule, kind in (
        ("nichd-variability-absent", VariabilityClass.ABSENT),
        ("nichd-variability-minimal", VariabilityClass.MINIMAL),
        ("nichd-variability-marked", VariabilityClass.MARKED),
    ):
        if (_said(nichd, rule) is None) == (kind in columns):
            yield f"{kind.value} variability: the ten-minute columns and NICHD"


def _four_lines(fetal: FetalReading) -> Iterator[str]:
    lines = fetal.four_lines
    assert lines is not None
    open_said = any("not recovered at the end" in t for c in fetal.classes for t in c.beyond)
    if open_said and lines.recovered is True:
        yield "'recovered' now, 'not recovered' above the class"
    if lines.recovered is False and not open_said and "Not recovered" in lines.now_line:
        yield "'not recovered' now, not above the class"
    last = fetal.review.columns[-1]
    number = re.search(r"(\d+) decelerations? in the last", lines.now_line)
    whole = math.isclose(last.window.duration_s, 600.0)
    if number and whole and int(number[1]) != last.decelerations:
        yield "decelerations of the last ten minutes: four lines and column"
    if "no deceleration in the last" in lines.now_line and last.decelerations:
        yield "decelerations of the last ten minutes: four lines and column"


def _over_time(reading: Reading, fetal: FetalReading) -> Iterator[str]:
    if not math.isclose(fetal.review.window.duration_s, HALF_HOUR_S):
        return
    at = [one for one in fetal.history if math.isclose(one.end_s, reading.window.end_s)]
    for point in at:
        if point.labels != {one.standard.value: one.said for one in fetal.classes}:
            yield "class over time and class"


def _words(page: dict[str, tuple[str, ...]]) -> Iterator[str]:
    for title, lines in page.items():
        for line in lines:
            if re.search(r"\b1 (decelerations|contractions|accelerations|minutes|falls)\b", line):
                yield f"plural of one, under {title}"
            if re.search(r"\bnan\b", line):
                yield f"nan, under {title}"
            if "not known decelerations" in line:
                yield f"awkward kind, under {title}"


def windows(duration_s: float) -> Iterator[Window]:
    """The last half hour, and those whose ends lie at multiples of STEP_S."""
    yield Window(max(0.0, duration_s - HALF_HOUR_S), duration_s)
    for end_s in np.arange(HALF_HOUR_S, duration_s - 60.0, STEP_S):
        yield Window(float(end_s) - HALF_HOUR_S, float(end_s))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--every", type=int, default=4, help="read every n-th recording")
    parser.add_argument("--list", action="store_true", help="name each contradiction")
    asked = parser.parse_args()
    found: Counter[str] = Counter()
    read = 0
    for path in sorted(DATA.glob("*.hea"))[:: asked.every]:
        recording = tidy(open_recording(path), path.stem)
        findings = [detect(recording)]
        for window in windows(recording.duration_s):
            reading = read_findings(recording, findings, window=window)
            read += 1
            for fetal in reading.fetuses:
                for kind in dict.fromkeys(contradictions(reading, fetal)):
                    found[kind] += 1
                    if asked.list:
                        print(f"{path.stem} to {window.end_s / 60:.1f} min: {kind}")
    print(f"{read} windows read, {sum(found.values())} contradictions")
    for kind, count in found.most_common():
        print(f"{kind}: {count}")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
