"""How often does a trace prompt somebody? `python -m bench.notices [--every N] [--labours N]`.

Notices an hour, by kind, on the open recordings (CTU-UHB; ../shared or EBBLINE_SHARED: the last
hours of real labours, many of them not normal) and on invented normal labours, where every prompt
but that of a lost signal or a mother's rate is false by construction. The policy is the shipped
one. Labours developed on and labours only reported (--locked) have seeds of their own.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from bench.speed import CTU_UHB
from ebbline.live.bed import WatchedBed
from ebbline.live.bed_reader import Pace
from ebbline.live.notice_policy import KINDS, load_notices
from ebbline.live.sample_store import Labour, Piece
from ebbline.recording import open_recording
from ebbline.recording.model import Recording
from ebbline.synth import Scenario, invent

DEVELOPED, LOCKED = 8_100, 908_100
STEP_S = 15.0
"""Steps for what happens right now; a prompt comes up to this late."""


def normal(first_seed: int, count: int, hours: float) -> Iterator[Recording]:
    for number in range(count):
        rng = np.random.default_rng(first_seed + number)
        scenario = Scenario(
            hours=hours,
            baseline_bpm=float(rng.uniform(118, 150)),
            bandwidth_bpm=float(rng.uniform(10, 16)),
            contractions_per_10_min=float(rng.uniform(2.5, 4.2)),
            early_share=float(rng.choice([0.0, 0.1])),
            signal_loss=float(rng.uniform(0.0, 0.06)),
        )
        made = invent(scenario, first_seed + number).recording
        yield replace(made, name=f"normal {first_seed + number}")


def notices_of(recording: Recording) -> Counter[str]:
    labour = Labour("x", "b", "c", datetime(2030, 1, 1, tzinfo=UTC), recording.context)
    bed = WatchedBed(labour, load_notices(), pace=Pace(step_s=STEP_S))
    told: Counter[str] = Counter()
    at_s = 0.0
    while at_s < recording.duration_s:
        until_s = min(recording.duration_s, at_s + STEP_S)
        for c in recording.channels:
            first, last = round(at_s * c.rate_hz), round(until_s * c.rate_hz)
            bed.receive(
                Piece("x", c.kind, c.fetus, c.sensor, c.rate_hz, first, c.samples[first:last])
            )
        at_s = until_s
        update = bed.advance(at_s + 2.0)
        for one in update.raised if update else ():
            told[one.kind] += 1
            told[f"{one.kind}, {one.grade}"] += 1
    return told


def report(title: str, recordings: Iterable[Recording]) -> None:
    told: Counter[str] = Counter()
    hours, count, quiet = 0.0, 0, 0
    for recording in recordings:
        found = notices_of(recording)
        told += found
        hours += recording.duration_s / 3600.0
        count += 1
        quiet += not found
    every = sum(told[kind] for kind in KINDS)
    print(
        f"\n{title}: {count} labours, {hours:.0f} hours: {every / max(hours, 1e-9):.2f} notices "
        f"an hour; {quiet} labours without any"
    )
    for kind in KINDS:
        if told[kind]:
            parts = [
                f"{name.split(', ')[1]}: {n}"
                for name, n in sorted(told.items())
                if name.startswith(f"{kind}, ")
            ]
            print(f"  {kind:18} {told[kind] / hours:.2f} an hour ({'; '.join(parts)})")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--labours", type=int, default=20)
    parser.add_argument("--hours", type=float, default=6.0)
    parser.add_argument("--locked", action="store_true")
    given = parser.parse_args()
    if given.every and Path(CTU_UHB).exists():
        paths = sorted(CTU_UHB.glob("*.hea"))[:: given.every]
        report("open recordings", map(open_recording, paths))
    first = LOCKED if given.locked else DEVELOPED
    report("invented normal labours", normal(first, given.labours, given.hours))


if __name__ == "__main__":
    main()
