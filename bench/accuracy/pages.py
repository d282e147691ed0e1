"""docs/accuracy.md and its figures, made from the hours of the accuracy bench."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from bench import stamps
from bench.accuracy.match import DROWNED_SHARE, TOLD_TIMES, Hour
from bench.accuracy.set import LOSS_BINS, PATTERNS
from bench.accuracy.tables import AIMS, FINDINGS, agreement, report, together

HEAD = """# How accurately the detector reads

<!-- Made by `python -m bench.accuracy --docs`. Do not edit by hand. -->

Measured on {count} invented hours ([the generator](generator.md)), whose truth is known. Three in
five are hours as they come: knobs, sensors and faults drawn from a spread fitted to open recordings
of labour. Two in five show one of {patterns} patterns, at a loss of signal from 0 to 50 %, belt and
catheter, 25 to 42 weeks. The set is locked: nothing was developed on it (`bench/accuracy/set.py`);
the generator shares no code with the detector. `python -m bench.accuracy` prints these tables for
the set that is developed on, `--worst 12 DIR` draws the hours that are read worst.

What this shows and what not: invented labours come near to real ones ([how near](generator.md)),
and their truth is the generator's. Read these numbers as an upper bound of what holds at the
bedside, and together with the comparison with people who read the same real recordings.

How it is counted. A true and a found event match when they overlap by a third of the shorter one,
one to one, with the most seconds of overlap. Neutral: true events under the definitions' thresholds
(and what was found on them), events cut by the hour's ends, and in the first table events of which
less than half reached the sensor. A contraction reached the sensor where the belt was on for half
of it and what the true pressure explains of the channel stands {told:.0f} standard deviations out
of the rest: where no trace of it was drawn nobody can mark it. Hands, turns and a wandering belt
draw hills too: where such a hill, the true pressure's part taken off, stands over both its sides
by {drowned:.0%} of the hour's usual contraction, what is found there counts neither way. Shoulders
and overshoots are neutral for accelerations. True events are what the rate itself does, beat noise
apart: a fall of 15 bpm for 15 s that mere fluctuation makes is one. "Clear ones" leaves events near
the thresholds out both ways; "to the letter" counts as too much what was found on a true event
under the thresholds, and on such a hill of the belt's own. The loss of an hour is the share of
seconds in which the sensor gave something else than the fetal rate, whether missing, doubled,
halved, spurious or the mother's.

![F1 by loss of signal](accuracy/events.svg)

![Baseline, variability, kind and class by loss of signal](accuracy/numbers.svg)

"""


def write_docs(hours: Sequence[Hour], docs: Path) -> None:
    """Write docs/accuracy.md and docs/accuracy/*.svg."""
    folder = docs / "accuracy"
    folder.mkdir(parents=True, exist_ok=True)
    _figures(hours, folder)
    head = HEAD.format(
        count=len(hours), patterns=len(PATTERNS), told=TOLD_TIMES, drowned=DROWNED_SHARE
    )
    (docs / "accuracy.md").write_text(head + report(hours) + "\n", encoding="utf-8")
    stamps.made("docs/accuracy.md")


def _figures(hours: Sequence[Hour], folder: Path) -> None:
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    plt.rcParams.update({"svg.hashsalt": "ebbline", "svg.fonttype": "none", "font.size": 9})
    bins = [i for i in range(len(LOSS_BINS)) if any(h.loss_bin == i for h in hours)]
    groups = [[h for h in hours if h.loss_bin == i] for i in bins]
    middle = [100 * sum(LOSS_BINS[i]) / 2 for i in bins]

    figure, axes = plt.subplots(1, 3, figsize=(10, 3.2), sharey=True)
    for axis, finding in zip(axes, FINDINGS, strict=True):
        for seen, style, name in ((True, "o-", "reached the sensor"), (False, "s--", "all true")):
            values = [together(g, finding, seen).f1 for g in groups]
            axis.plot(middle, values, style, color="C0" if seen else "C1", label=name, ms=4)
        axis.axhline(AIMS[finding], color="gray", lw=0.8, ls=":")
        axis.set(title=finding, xlabel="loss of signal, %", ylim=(0.4, 1.01))
        axis.grid(alpha=0.3)
    axes[0].set_ylabel("F1")
    axes[1].legend(frameon=False, loc="lower left")
    figure.tight_layout()
    figure.savefig(folder / "events.svg", metadata={"Date": None})
    plt.close(figure)

    figure, (left, centre, right) = plt.subplots(1, 3, figsize=(10, 3.2))
    errors = [np.abs(np.concatenate([h.baseline_errors for h in g])) for g in groups]
    left.plot(middle, [np.median(e) for e in errors], "o-", ms=4, label="median")
    left.plot(middle, [np.percentile(e, 95) for e in errors], "s--", ms=4, label="95 %")
    left.set(title="Baseline, absolute error", ylabel="bpm", ylim=(0, None))
    for style, name, values in (
        ("o-", "variability class", [agreement((a, b) for h in g for a, b, _ in h.variability)
                                     for g in groups]),
        ("s--", "deceleration kind", [agreement((a, b) for h in g for a, b, _ in h.kinds)
                                      for g in groups]),
    ):  # fmt: skip
        centre.plot(middle, values, style, ms=4, label=name)
    centre.set(title="Share right", ylim=(0.4, 1.01))
    # Colour alone tells no line from another.
    for style, standard in zip(("o-", "s--", "^:"), hours[0].classes, strict=True):
        made = [
            agreement(h.classes[standard] for h in g if "refused" not in h.classes[standard])
            for g in groups
        ]
        right.plot(middle, made, style, ms=4, label=standard)
    right.set(title="Same class, half an hour", ylim=(0.4, 1.01))
    for axis in (left, centre, right):
        axis.set_xlabel("loss of signal, %")
        axis.legend(frameon=False, fontsize=8, loc="best")
        axis.grid(alpha=0.3)
    figure.tight_layout()
    figure.savefig(folder / "numbers.svg", metadata={"Date": None})
    plt.close(figure)
