"""Is the labour read live the labour read at once? `python -m bench.live`.

Replays recordings in packets as networks deliver them (0.5 to 40 s long; late, out of order,
doubled, lost) and compares, at every full minute, the class of each standard with that which the
batch gives of the recording cut there, holding what had arrived by then. Findings are compared when
they become final, with those of the batch at that minute, and at the end with those of the batch
of the whole, which has seen what came later. Recordings: the open ones (CTU-UHB; ../shared or
EBBLINE_SHARED) and invented labours of ten hours, from a range of seeds that is developed on and
one that is only reported (--locked). Full minutes only: the readings between leave no trace in
them. Where the live stretch still holds every sample of the recording, both are the same call of
`detect`, which is then made once. `--part 2/4` takes the second of four parts of each kind.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter, deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bench.speed import CTU_UHB
from ebbline.criteria import classify
from ebbline.criteria.model import Classification
from ebbline.features import detect
from ebbline.features.findings import Findings
from ebbline.live import bed_reader
from ebbline.live.bed_reader import MINUTE_S, BedReader, Pace
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

MOST_TOLD = 80
"""So many exceptions are printed of each kind of labour."""

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
    shared: int = 0
    equal: Counter[str] = field(default_factory=Counter)
    exceptions: list[str] = field(default_factory=list)
    then_same: Counter[str] = field(default_factory=Counter)
    then_all: Counter[str] = field(default_factory=Counter)
    final_same: Counter[str] = field(default_factory=Counter)
    final_all: Counter[str] = field(default_factory=Counter)
    live_s: float = 0.0
    steps: int = 0


class SharedDetect:
    """`detect`, made once for equal samples: the last few are remembered."""

    def __init__(self) -> None:
        self.made: deque[tuple[Recording, tuple[int, float | None, float, bool], Findings]] = deque(
            maxlen=4
        )
        self.shared = 0

    def __call__(
        self,
        recording: Recording,
        *,
        fetus: int = 1,
        grid_from_s: float | None = None,
        hills_before: float = 0.0,
        brief: bool = False,
    ) -> Findings:
        how = (fetus, grid_from_s, hills_before, brief)
        for other, its_how, findings in self.made:
            if its_how == how and _same_signals(recording, other):
                self.shared += 1
                return findings
        findings = detect(
            recording,
            fetus=fetus,
            grid_from_s=grid_from_s,
            hills_before=hills_before,
            brief=brief,
        )
        self.made.append((recording, how, findings))
        return findings


def _same_signals(one: Recording, other: Recording) -> bool:
    mine, its = (
        {(c.kind, c.fetus, c.sensor, c.rate_hz): c.samples for c in r.channels}
        for r in (one, other)
    )
    return (
        one.context == other.context
        and mine.keys() == its.keys()
        and all(np.array_equal(mine[key], its[key], equal_nan=True) for key in mine)
    )


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
    found = SharedDetect()
    bed_reader.detect = found  # type: ignore[assignment]
    reader = BedReader(recording.name, recording.context, pace=Pace(step_s=MINUTE_S))
    arrived = [np.full(len(c.samples), np.nan) for c in recording.channels]
    for parcel in [*parcels(recording, how, rng), None]:
        now_s = recording.duration_s + 70.0 if parcel is None else parcel.arrives_s
        while reader.read_to_s + MINUTE_S + reader.pace.settle_s <= now_s:
            # One step at a time, so that what is final after it is known.
            before_s = reader.final_s
            began = time.process_time()
            steps = reader.advance(reader.read_to_s + MINUTE_S + reader.pace.settle_s)
            tally.live_s += time.process_time() - began
            tally.steps += len(steps)
            if not steps:
                break
            for step in steps:
                if step.at_s <= recording.duration_s:
                    findings = compare_minute(recording, arrived, step, found, tally)
                    if findings is not None and reader.final_s > before_s:
                        final = reader.checkpoint().final[0]
                        compare_then(
                            final, findings, (before_s, reader.final_s), recording.name, tally
                        )
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
    tally.shared += found.shared
    final_of_all = reader.checkpoint().final
    if final_of_all:
        compare_final(
            final_of_all[0], whole(recording, arrived), reader.final_s, recording.name, tally
        )


def compare_minute(
    recording: Recording,
    arrived: Sequence[FloatArray],
    step: bed_reader.Step,
    found: SharedDetect,
    tally: Tally,
) -> Findings | None:
    """Count a minute's classes; the batch's findings of the recording cut there."""
    expected, findings = batch(recording, arrived, step.at_s, found)
    tally.minutes += 1
    for one in step.fetuses[0].classes:
        other = expected.get(one.standard.value)
        label = "no class" if other is None else other.label
        tally.equal[one.standard.value] += one.label == label
        if one.label != label:
            tally.exceptions.append(
                f"{recording.name} minute {step.at_s / 60:.0f} {one.standard.value}: "
                f"live {_told(one)}; batch {_told(other)}"
            )
    return findings


def _told(one: Classification | None) -> str:
    if one is None:
        return "no class (nothing had arrived)"
    return f"{one.label} ({', '.join(one.refusal or one.decided_by)})"


def whole(recording: Recording, arrived: Sequence[FloatArray]) -> Findings:
    channels = tuple(
        replace(c, samples=a) for c, a in zip(recording.channels, arrived, strict=True)
    )
    return detect(tidy(replace(recording, channels=channels), recording.name))


def batch(
    recording: Recording, arrived: Sequence[FloatArray], at_s: float, found: SharedDetect
) -> tuple[dict[str, Classification], Findings | None]:
    """Class by standard of the recording cut at at_s, and its findings; nothing without signal."""
    channels = tuple(
        replace(c, samples=a[: round(at_s * c.rate_hz)])
        for c, a in zip(recording.channels, arrived, strict=True)
    )
    context, _ = believable(recording.context, at_s)
    cut = replace(recording, channels=channels, context=context)
    if all(np.isnan(c.samples).all() for c in channels if c.fetus):
        return {}, None
    window = Window(max(0.0, at_s - WINDOW_S), at_s)
    if at_s % CHECKED_BY_READ_S == 0:
        fetal = read(cut, window=window, history=False).fetuses[0]
        return {c.standard.value: c for c in fetal.classes}, fetal.findings
    findings = found(cut)
    return {one.value: classify(findings, window, one, context) for one in ALL_STANDARDS}, findings


KINDS = (("fetal", "accelerations"), ("fetal", "decelerations"), ("uterine", "contractions"))
Event = tuple[str, str, str]


def events(
    findings: Findings, part: str, name: str, since_s: float, until_s: float
) -> Counter[Event]:
    """Events that end after since_s and by until_s, to a tenth of a second, with their kind."""
    return Counter(
        (f"{one.onset_s:.1f}", f"{one.end_s:.1f}", str(getattr(one, "kind", "")))
        for one in getattr(getattr(findings, part), name)
        if since_s < one.end_s <= until_s
    )


def compare_then(
    final: Findings, of_batch: Findings, between_s: tuple[float, float], name: str, tally: Tally
) -> None:
    """Count the events that became final just now, against the batch of this minute."""
    for part, kind in KINDS:
        live, at_once = (events(one, part, kind, *between_s) for one in (final, of_batch))
        tally.then_same[kind] += (live & at_once).total()
        tally.then_all[kind] += (live | at_once).total()
        _differ(f"{name} final {kind}, at that minute", live, at_once, tally)


def compare_final(
    final: Findings, of_batch: Findings, seam_s: float, name: str, tally: Tally
) -> None:
    """Count the batch's events before the seam that are final live too, and the other way round."""
    since_s = final.fetal.valid.start_s + 60.0
    for part, kind in KINDS:
        live, at_once = (
            events(one, part, kind, since_s, seam_s - 60.0) for one in (final, of_batch)
        )
        tally.final_same[kind] += (live & at_once).total()
        tally.final_all[kind] += (live | at_once).total()
        _differ(f"{name} final {kind}, of the whole", live, at_once, tally)


def _differ(what: str, live: Counter[Event], at_once: Counter[Event], tally: Tally) -> None:
    for side, only in (("live", live - at_once), ("batch", at_once - live)):
        tally.exceptions += [f"{what}: {side} only {' '.join(one)}" for one in only]


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


def report(
    title: str, recordings: Iterable[tuple[int, Recording]], seed: int, how: Delivery
) -> Tally:
    tally = Tally()
    count = 0
    for number, recording in recordings:
        replay(recording, how, np.random.default_rng(seed + number), tally)
        count += 1
    print(
        f"\n{title}: {count} labours, {tally.minutes} full minutes, "
        f"{tally.shared} of them read from all samples by both at once"
    )
    for standard in ALL_STANDARDS:
        same = tally.equal[standard.value]
        print(
            f"  {standard.value:6} {same} of {tally.minutes} minutes the class of the batch"
            f" ({100 * same / max(1, tally.minutes):.3f} %)"
        )
    for when, same_by, all_by in (
        ("at that minute", tally.then_same, tally.then_all),
        ("of the whole", tally.final_same, tally.final_all),
    ):
        for name, every in all_by.items():
            print(
                f"  final {name}: {same_by[name]} of {every} those of the batch {when}"
                f" ({100 * same_by[name] / max(1, every):.3f} %)"
            )
    print(f"  {1000 * tally.live_s / max(1, tally.steps):.1f} ms a step, {tally.steps} steps")
    for line in tally.exceptions[:MOST_TOLD]:
        print("   ", line)
    return tally


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1, help="take each nth open recording")
    parser.add_argument("--labours", type=int, default=20)
    parser.add_argument("--hours", type=float, default=10.0)
    parser.add_argument("--laid", type=int, default=4, help="labours of ten open recordings each")
    parser.add_argument("--part", default="1/1", help="such as 2/4: the second of four parts")
    parser.add_argument("--locked", action="store_true")
    given = parser.parse_args()
    first = LOCKED if given.locked else DEVELOPED
    part, parts = (int(one) for one in given.part.split("/"))
    how = Delivery()

    def told(title: str, recordings: Iterator[Recording]) -> None:
        report(title, islice(enumerate(recordings), part - 1, None, parts), first, how)

    if Path(CTU_UHB).exists():
        if given.every:
            told("open recordings", open_recordings(given.every))
        if given.laid:
            told("open recordings laid end to end", end_to_end(given.laid, 7))
    if given.labours:
        told("invented labours", invented(first, given.labours, given.hours))


if __name__ == "__main__":
    main()
