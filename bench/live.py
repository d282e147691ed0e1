"""Is the labour read live the labour read at once? `python -m bench.live`.

Replays recordings in packets as networks deliver them (0.5 to 40 s long; late, out of order,
doubled, lost) and compares, at every full minute, the class of each standard with that which the
batch gives of the recording cut there, holding what had arrived by then. At the end the findings
that became final are compared with the batch's of the whole. Recordings: the open ones (CTU-UHB;
../shared or EBBLINE_SHARED) and invented labours of ten hours, from a range of seeds that is
developed on and one that is only reported (--locked).
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bench.speed import CTU_UHB
from ebbline.criteria import classify
from ebbline.features import detect
from ebbline.features.findings import Findings
from ebbline.live.bed_reader import BedReader
from ebbline.reading.analyse import ALL_STANDARDS, WINDOW_S, read
from ebbline.recording import open_recording
from ebbline.recording.channels import tidy
from ebbline.recording.model import Channel, Recording
from ebbline.recording.plausibility import believable
from ebbline.synth import Behaviour, ProlongedFall, Scenario, invent
from ebbline.terms import Window

FloatArray = NDArray[np.float64]

DEVELOPED, LOCKED = 7_100, 907_100
"""First seeds of the labours developed on and of those only reported."""

CHECKED_BY_READ_S = 3600.0
"""At these moments `read` itself is called; between, its own two steps, which cost less."""


@dataclass(frozen=True)
class Delivery:
    """How the packets of a replay arrive. Shares are 0..1, times s."""

    longest_s: float = 40.0
    late_share: float = 0.05
    latest_s: float = 90.0
    doubled_share: float = 0.03
    lost_share: float = 0.01


@dataclass
class Tally:
    minutes: int = 0
    equal: Counter[str] = field(default_factory=Counter)
    exceptions: list[str] = field(default_factory=list)
    final_same: Counter[str] = field(default_factory=Counter)
    final_all: Counter[str] = field(default_factory=Counter)
    live_s: float = 0.0
    steps: int = 0


@dataclass(frozen=True)
class Parcel:
    arrives_s: float
    channel: int
    first: int
    samples: FloatArray


def parcels(recording: Recording, how: Delivery, rng: np.random.Generator) -> list[Parcel]:
    """The packets of a recording in the order in which they arrive."""
    made = []
    for number, channel in enumerate(recording.channels):
        first = 0
        while first < len(channel.samples):
            length_s = float(np.exp(rng.uniform(np.log(0.5), np.log(how.longest_s))))
            last = min(len(channel.samples), first + max(1, round(length_s * channel.rate_hz)))
            parcel = Parcel(last / channel.rate_hz, number, first, channel.samples[first:last])
            first = last
            if rng.random() < how.lost_share:
                continue
            late_s = rng.uniform(0, how.latest_s) if rng.random() < how.late_share else 0.0
            made.append(replace(parcel, arrives_s=parcel.arrives_s + late_s))
            if rng.random() < how.doubled_share:
                made.append(replace(parcel, arrives_s=parcel.arrives_s + rng.uniform(0, 20)))
    return sorted(made, key=lambda one: one.arrives_s)


def replay(recording: Recording, how: Delivery, rng: np.random.Generator, tally: Tally) -> None:
    """Replay one recording and count."""
    reader = BedReader(recording.name, recording.context)
    arrived = [np.full(len(c.samples), np.nan) for c in recording.channels]
    settled: list[Findings] = []
    final_s = 0.0
    for parcel in [*parcels(recording, how, rng), None]:
        now_s = recording.duration_s + 70.0 if parcel is None else parcel.arrives_s
        began = time.process_time()
        steps = reader.advance(now_s)
        tally.live_s += time.process_time() - began
        tally.steps += len(steps)
        for step in steps:
            if not step.full or step.at_s > recording.duration_s:
                continue
            expected = batch(recording, arrived, step.at_s)
            labels = {c.standard.value: c.label for c in step.fetuses[0].classes}
            tally.minutes += 1
            for standard, label in labels.items():
                tally.equal[standard] += label == expected[standard]
                if label != expected[standard]:
                    tally.exceptions.append(
                        f"{recording.name} minute {step.at_s / 60:.0f} {standard}: "
                        f"live {label}, batch {expected[standard]}"
                    )
            if reader.final_s > final_s:
                final_s = reader.final_s
                settled.append(step.fetuses[0].findings)
        if parcel is not None:
            channel = recording.channels[parcel.channel]
            reader.receive(
                channel.kind,
                channel.fetus,
                channel.sensor,
                channel.rate_hz,
                parcel.first,
                parcel.samples,
            )
            place = arrived[parcel.channel][parcel.first : parcel.first + len(parcel.samples)]
            place[:] = np.where(np.isnan(place), parcel.samples, place)
    final = reader.checkpoint().final
    if final:
        compare_final(final[0], whole(recording, arrived), reader.final_s, tally)


def whole(recording: Recording, arrived: Sequence[FloatArray]) -> Findings:
    channels = tuple(
        replace(c, samples=a) for c, a in zip(recording.channels, arrived, strict=True)
    )
    return detect(tidy(replace(recording, channels=channels), recording.name))


def batch(recording: Recording, arrived: Sequence[FloatArray], at_s: float) -> dict[str, str]:
    """Label by standard of the recording cut at at_s."""
    channels = tuple(
        replace(c, samples=a[: round(at_s * c.rate_hz)])
        for c, a in zip(recording.channels, arrived, strict=True)
    )
    cut = replace(recording, channels=channels)
    if all(np.isnan(c.samples).all() for c in channels if c.fetus):
        return {one.value: "no class" for one in ALL_STANDARDS}
    window = Window(max(0.0, at_s - WINDOW_S), at_s)
    if at_s % CHECKED_BY_READ_S == 0:
        reading = read(cut, window=window, history=False)
        return {c.standard.value: c.label for c in reading.fetuses[0].classes}
    findings = detect(cut)
    context, _ = believable(cut.context, at_s)
    return {one.value: classify(findings, window, one, context).label for one in ALL_STANDARDS}


def compare_final(final: Findings, of_batch: Findings, seam_s: float, tally: Tally) -> None:
    """Count the batch's events before the seam that are final live too, and the other way round."""
    since_s = final.fetal.valid.start_s + 60.0
    for name in ("accelerations", "decelerations", "contractions"):
        part = "uterine" if name == "contractions" else "fetal"

        def events(findings: Findings, part: str = part, name: str = name) -> list[tuple[str, ...]]:
            return [
                (f"{one.onset_s:.1f}", f"{one.end_s:.1f}", str(getattr(one, "kind", "")))
                for one in getattr(getattr(findings, part), name)
                if since_s <= one.onset_s and one.end_s <= seam_s - 60.0
            ]

        live, at_once = Counter(events(final)), Counter(events(of_batch))
        tally.final_same[name] += (live & at_once).total()
        tally.final_all[name] += (live | at_once).total()


def invented(first_seed: int, count: int, hours: float) -> Iterator[Recording]:
    """Labours of many kinds, ten hours each."""
    for number in range(count):
        rng = np.random.default_rng(first_seed + number)
        scenario = Scenario(
            hours=hours,
            baseline_bpm=float(rng.uniform(112, 158)),
            bandwidth_bpm=float(rng.uniform(4, 18)),
            behaviour=list(Behaviour)[int(rng.integers(len(Behaviour)))],
            contractions_per_10_min=float(rng.uniform(2, 6)),
            late_share=float(rng.choice([0.0, 0.1, 0.5])),
            variable_share=float(rng.choice([0.0, 0.2, 0.5])),
            prolonged=tuple(
                ProlongedFall(float(at), float(rng.uniform(2.5, 9)))
                for at in np.cumsum(rng.uniform(60, 200, 3))
                if at < hours * 60 - 15
            ),
            signal_loss=float(rng.uniform(0, 0.15)),
        )
        made = invent(scenario, first_seed + number).recording
        yield replace(made, name=f"invented {first_seed + number}")


def open_recordings(every: int) -> Iterator[Recording]:
    for path in sorted(CTU_UHB.glob("*.hea"))[::every]:
        yield open_recording(path)


def end_to_end(count: int, each: int) -> Iterator[Recording]:
    """Open recordings laid end to end: hours of real signal, for what lies behind the seam."""
    paths = sorted(CTU_UHB.glob("*.hea"))
    for number in range(count):
        chosen = [open_recording(p) for p in paths[number * each : (number + 1) * each]]
        channels: list[Channel] = [
            replace(
                c,
                samples=np.concatenate([one.channels[i].samples for one in chosen]),
            )
            for i, c in enumerate(chosen[0].channels)
        ]
        yield replace(
            chosen[0], name=f"{each} from {paths[number * each].stem}", channels=tuple(channels)
        )


def report(title: str, recordings: Iterator[Recording], seed: int, how: Delivery) -> Tally:
    tally = Tally()
    count = 0
    for number, recording in enumerate(recordings):
        replay(recording, how, np.random.default_rng(seed + number), tally)
        count += 1
    print(f"\n{title}: {count} labours, {tally.minutes} full minutes")
    for standard in ALL_STANDARDS:
        same = tally.equal[standard.value]
        print(
            f"  {standard.value:6} {same} of {tally.minutes} minutes the class of the batch"
            f" ({100 * same / max(1, tally.minutes):.3f} %)"
        )
    for name, every in tally.final_all.items():
        print(
            f"  final {name}: {tally.final_same[name]} of {every} those of the batch"
            f" ({100 * tally.final_same[name] / max(1, every):.3f} %)"
        )
    print(f"  {1000 * tally.live_s / max(1, tally.steps):.1f} ms a step, {tally.steps} steps")
    for line in tally.exceptions[:60]:
        print("   ", line)
    return tally


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1, help="take each nth open recording")
    parser.add_argument("--labours", type=int, default=20)
    parser.add_argument("--hours", type=float, default=10.0)
    parser.add_argument("--laid", type=int, default=4, help="labours of ten open recordings each")
    parser.add_argument("--locked", action="store_true")
    given = parser.parse_args()
    first = LOCKED if given.locked else DEVELOPED
    how = Delivery()
    if given.every and Path(CTU_UHB).exists():
        report("open recordings", open_recordings(given.every), first, how)
        if given.laid:
            report("open recordings laid end to end", end_to_end(given.laid, 7), first, how)
    if given.labours:
        report("invented labours", invented(first, given.labours, given.hours), first, how)


if __name__ == "__main__":
    main()
