"""Tables and figures of the accuracy bench."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

from bench.accuracy.match import Hour, Tally
from bench.accuracy.set import LOSS_BINS

FINDINGS = ("contractions", "decelerations", "accelerations")
AIMS = {"contractions": 0.97, "decelerations": 0.95, "accelerations": 0.95}
WORKABLE_BINS = 3
"""Bins of loss up to 20 %: where the aims hold (FIGO calls that workable)."""


def together(hours: Iterable[Hour], finding: str, seen: bool = True) -> Tally:
    total = Tally()
    for hour in hours:
        total.add((hour.seen if seen else hour.everything)[finding])
    return total


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(row) + " |" for row in rows]
    return "\n".join(lines)


def _bin_name(index: int) -> str:
    low, high = LOSS_BINS[index]
    return f"{low:.0%} to {high:.0%}"


def _groups(hours: Sequence[Hour]) -> list[tuple[str, list[Hour]]]:
    upto = [h for h in hours if h.loss_bin < WORKABLE_BINS]
    named = [("up to 20%", upto)]
    named += [(_bin_name(i), [h for h in hours if h.loss_bin == i]) for i in range(len(LOSS_BINS))]
    return [(name, group) for name, group in named if group]


def events_table(hours: Sequence[Hour], seen: bool) -> str:
    rows = []
    for name, group in _groups(hours):
        for finding in FINDINGS:
            t = together(group, finding, seen)
            rows.append(
                (
                    name,
                    finding,
                    str(t.hit + t.missed),
                    f"{t.sensitivity:.3f}",
                    f"{t.clear_sensitivity:.3f}",
                    f"{t.ppv:.3f}",
                    f"{t.f1:.3f}",
                    f"{t.clear_f1:.3f}",
                    f"{t.letter_f1:.3f}",
                    _spread(t.onset_s),
                    _spread(t.extreme_s),
                    _spread(t.end_s),
                    _spread(t.size),
                )
            )
    head = (
        "loss", "finding", "true", "sensitivity", "of clear ones", "PPV", "F1", "F1, clear ones",
        "F1 to the letter", "onset s",
        "peak or nadir s",
        "end s", "depth or height bpm",
    )  # fmt: skip
    return table(head, rows)


def _spread(errors: list[float]) -> str:
    if not errors:
        return ""
    a = np.array(errors)
    return f"{np.median(a):+.1f} ({np.percentile(np.abs(a), 90):.1f})"


def baseline_table(hours: Sequence[Hour]) -> str:
    rows = []
    for name, group in _groups(hours):
        every = np.abs(np.concatenate([h.baseline_errors for h in group]))
        tens = np.abs(np.array([e for h in group for e in h.baseline_10]))
        rows.append(
            (
                name,
                f"{np.median(every):.2f}",
                f"{np.percentile(every, 95):.1f}",
                f"{np.median(tens):.2f}",
                f"{np.percentile(tens, 95):.1f}",
                f"{np.mean(tens <= 5):.3f}",
            )
        )
    head = (
        "loss",
        "curve, median",
        "curve, 95 %",
        "10 min, median",
        "10 min, 95 %",
        "within 5 bpm",
    )
    return table(head, rows)


def confusion(found: Iterable[tuple[str, str]], order: Sequence[str]) -> str:
    counts = Counter(found)
    seen = [k for k in order if any(k in pair for pair in counts)]
    rows = [(f"true {a}", *(str(counts[(a, b)]) for b in seen)) for a in seen]
    return table(("", *(f"found {b}" for b in seen)), rows)


def agreement(found: Iterable[tuple[str, str]]) -> float:
    made = list(found)
    return float(np.mean([a == b for a, b in made])) if made else float("nan")


VARIABILITY = ("absent", "minimal", "moderate", "marked")
KINDS = ("early", "late", "variable", "prolonged", "gradual, contraction not known")


def shares_table(hours: Sequence[Hour]) -> str:
    rows = []
    for name, group in _groups(hours):
        kinds = [k for h in group for k in h.kinds]
        rows.append(
            (
                name,
                f"{agreement((a, b) for h in group for a, b, _ in h.variability):.3f}",
                f"{agreement((a, b) for h in group for a, b, sure in h.variability if sure):.3f}",
                f"{agreement((a, b) for a, b, _ in kinds):.3f}",
                f"{agreement((a, b) for a, b, clear in kinds if clear):.3f}",
                _sensitivity(group),
            )
        )
    head = (
        "loss", "variability class (10 min), all", "clear ones", "deceleration kind, all",
        "clear ones",
        "sinusoidal: hours found, of true; false",
    )  # fmt: skip
    return table(head, rows)


def _sensitivity(group: Sequence[Hour]) -> str:
    true = [h for h in group if h.sinusoidal[0]]
    false = sum(h.sinusoidal[1] for h in group if not h.sinusoidal[0])
    return f"{sum(h.sinusoidal[1] for h in true)} of {len(true)}; {false}"


def classes_table(hours: Sequence[Hour]) -> str:
    """Agreement on the class of the last half hour; refusals apart."""
    rows = []
    for name, group in _groups(hours):
        row = [name]
        for standard in group[0].classes:
            made = [h.classes[standard] for h in group]
            both = [p for p in made if "refused" not in p]
            refused = sum(b == "refused" != a for a, b in made)
            row.append(f"{agreement(both):.3f} ({len(both)}, {refused} refused)")
        rows.append(row)
    return table(("loss", *hours[0].classes), rows)


def _order(labels: Iterable[str]) -> list[str]:
    return sorted(set(labels), key=lambda label: (label == "refused", label))


def aims_table(hours: Sequence[Hour]) -> str:
    upto = [h for h in hours if h.loss_bin < WORKABLE_BINS]
    rows = []
    for finding in FINDINGS:
        counted = together(upto, finding)
        f1 = counted.f1
        rows.append(
            (f"{finding}, F1", f"{AIMS[finding]:.2f}", f"{f1:.3f}", _met(f1 >= AIMS[finding]))
        )
        rows.append((f"{finding}, F1 of clear ones", "", f"{counted.clear_f1:.3f}", ""))
        rows.append((f"{finding}, F1 to the letter", "", f"{counted.letter_f1:.3f}", ""))
    errors = np.abs(np.concatenate([h.baseline_errors for h in upto]))
    median = float(np.median(errors))
    rows.append(("baseline, median error bpm", "below 2", f"{median:.2f}", _met(median < 2)))
    classes = agreement((a, b) for h in upto for a, b, _ in h.variability)
    rows.append(("variability class", "0.95", f"{classes:.3f}", _met(classes >= 0.95)))
    clear = agreement((a, b) for h in upto for a, b, sure in h.variability if sure)
    rows.append(("variability class, clear ones", "", f"{clear:.3f}", ""))
    kinds = agreement((a, b) for h in upto for a, b, _ in h.kinds)
    rows.append(("deceleration kind", "0.90", f"{kinds:.3f}", _met(kinds >= 0.90)))
    clear = agreement((a, b) for h in upto for a, b, sure in h.kinds if sure)
    rows.append(("deceleration kind, clear ones", "", f"{clear:.3f}", ""))
    letter = agreement(pair for h in upto for pair in h.letter_kinds)
    rows.append(("deceleration kind, to the letter", "", f"{letter:.3f}", ""))
    return table(("at up to 20 % loss", "aim", "measured", ""), rows)


def _met(yes: bool) -> str:
    return "met" if yes else "**not met**"


def patterns_table(hours: Sequence[Hour]) -> str:
    rows = []
    upto = [h for h in hours if h.loss_bin < WORKABLE_BINS]
    for pattern in dict.fromkeys(h.pattern for h in upto):
        group = [h for h in upto if h.pattern == pattern]
        rows.append(
            (
                pattern,
                str(len(group)),
                *(_f1(together(group, f)) for f in FINDINGS),
                f"{np.median(np.abs(np.concatenate([h.baseline_errors for h in group]))):.2f}",
                f"{agreement((a, b) for h in group for a, b, _ in h.variability):.2f}",
                f"{agreement((a, b) for h in group for a, b, _ in h.kinds):.2f}",
            )
        )
    head = ("pattern", "hours", *(f"{f} F1" for f in FINDINGS), "baseline", "variability", "kind")
    return table(head, rows)


def _f1(t: Tally) -> str:
    return f"{t.f1:.2f} (-{t.missed} +{t.extra})"


SHARES_NOTE = (
    "A kind is clear where depth, duration, time to nadir and lag all stand away from the "
    "definitions' thresholds. Early and late differ by their contraction alone: where the belt did "
    'not show it, "gradual, contraction not known" is right too, though not to the letter. A class '
    "of variability is clear where the true bandwidth is 15 % or more away from the nearest limit."
)


def report(hours: Sequence[Hour]) -> str:
    """All tables as Markdown."""
    upto = [h for h in hours if h.loss_bin < WORKABLE_BINS]
    parts: list[tuple[str, str]] = [
        ("Aims", aims_table(hours)),
        ("Events that reached the sensor", f"{SEEN_NOTE}\n\n{events_table(hours, True)}"),
        ("All true events, seen or lost", events_table(hours, False)),
        ("Baseline, absolute error in bpm", baseline_table(hours)),
        (
            "Variability class and kind of deceleration, share right",
            f"{SHARES_NOTE}\n\n{shares_table(hours)}",
        ),
        (
            "Variability class of ten minutes, up to 20 % loss",
            confusion(((a, b) for h in upto for a, b, _ in h.variability), VARIABILITY),
        ),
        (
            "Kind of deceleration, up to 20 % loss, all that matched, to the letter",
            confusion((pair for h in upto for pair in h.letter_kinds), KINDS),
        ),
        ("Class of half an hour", f"{CLASSES_NOTE}\n\n{classes_table(hours)}"),
    ]
    for standard in hours[0].classes:
        made = [h.classes[standard] for h in upto]
        labels = _order(label for pair in made for label in pair)
        parts.append((f"Class by {standard}, up to 20 % loss", confusion(made, labels)))
    parts.append(("By pattern, up to 20 % loss", patterns_table(hours)))
    return "\n\n".join(f"## {title}\n\n{text}" for title, text in parts)


SEEN_NOTE = (
    "Errors: median (90th percentile of the absolute error). Sensitivity, PPV and F1 count "
    "one-to-one matches by overlap. Clear: 3 bpm and 3 s above the thresholds of recognition "
    "(contractions: 20 mmHg)."
)
CLASSES_NOTE = (
    "The second half of each hour: the truth, put into the shape of findings, and the findings "
    "themselves, classed by the same rules. Share of hours with the same class (hours that both "
    "could class; hours refused for what was found)."
)
