"""The standards once more, plainly: slow loops over lists, numbers typed from the publications.

Written from the texts (NICHD: Macones 2008; FIGO: Ayres-de-Campos 2015; NICE NG229 section 1.4 and
ACOG Practice Bulletin 229 from memory) and from the choices of ours that docs/criteria.md states.
It shares no code with the criteria: what both say of the same findings must agree. Heart-rate
curves are not looked at here (falls of the baseline itself, steps, slow shares have tests of their
own).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise
from statistics import median

from ebbline.features.findings import (
    ArtefactKind,
    Contraction,
    Deceleration,
    DecelerationKind,
    Findings,
)
from ebbline.terms import SensorKind, Stage, Window

MINUTE, TEN, TWENTY, HALF_HOUR, HOUR = 60.0, 600.0, 1200.0, 1800.0, 3600.0
NAN = math.nan
Which = Callable[[Deceleration], bool]
Span = tuple[float, float]


def known(value: float) -> bool:
    return not math.isnan(value)


def _overlap(a: Span, b: Span) -> float:
    return max(0.0, min(a[1], b[1]) - max(a[0], b[0]))


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values) if values else NAN


@dataclass
class Level:
    """A ten-minute baseline: to 5 bpm, to 1 bpm, and both lowered for what falls took."""

    rounded: float
    whole: float
    low_rounded: float
    low: float
    carried: bool
    span: Span
    asked_for: bool


@dataclass
class Run:
    minutes: float
    elapsed: float
    began_unseen: bool
    span: Span


@dataclass
class Pattern:
    """yes, no, or None where it cannot be told."""

    answer: bool | None
    share: float = NAN
    span: Span = (NAN, NAN)
    why: str = ""


class Plain:
    """What a window holds."""

    def __init__(self, findings: Findings, window: Window) -> None:
        self.all = findings
        self.begin, self.end = window.start_s, window.end_s
        self.starts = findings.fetal.valid.start_s
        order = sorted(range(len(findings.uterine.contractions)), key=self._peak)
        self.squeezes: list[Contraction] = [findings.uterine.contractions[i] for i in order]
        self._place = {of: place for place, of in enumerate(order)}
        self.falls = sorted(findings.fetal.decelerations, key=lambda fall: fall.nadir_s)

    def _peak(self, place: int) -> float:
        return self.all.uterine.contractions[place].peak_s

    # ------------------------------------------------------------ signal

    @cached_property
    def minutes(self) -> list[Span]:
        curve = self.all.fetal.bandwidth
        starts = [curve.start_s + place * MINUTE for place in range(len(curve.values))]
        return [(at, at + MINUTE) for at in starts]

    @cached_property
    def doubtful(self) -> list[Span]:
        """At least 50 % sure not to be the fetus's own rate."""
        kinds = (ArtefactKind.MATERNAL, ArtefactKind.DOUBLING, ArtefactKind.HALVING)
        return [
            (one.start_s, one.end_s)
            for one in self.all.fetal.artefacts
            if one.kind in kinds and one.certainty >= 0.5
        ]

    @cached_property
    def shares(self) -> list[float]:
        """Of each minute its valid share, and no more than what is not doubtful of it."""
        doubts = [sum(_overlap(m, one) for one in self.doubtful) / MINUTE for m in self.minutes]
        valid = self.all.fetal.valid.values.tolist()
        return [min(v, max(0.0, 1.0 - doubt)) for v, doubt in zip(valid, doubts, strict=True)]

    def gathered(self, shares: Sequence[float], span: Span) -> float:
        """Seconds of a stretch, minute by minute."""
        first = max(0, int((span[0] - self.starts) // MINUTE))
        stop = max(0, math.ceil((span[1] - self.starts) / MINUTE))
        pairs = zip(self.minutes[first:stop], shares[first:stop], strict=True)
        return sum(share * _overlap(minute, span) for minute, share in pairs)

    def reliable(self, span: Span) -> float:
        """Share of a stretch that can be relied on."""
        return round(self.gathered(self.shares, span) / (span[1] - span[0]), 9)

    def poorest(self) -> float:
        length = min(TEN, self.end - self.begin)
        starts = [self.end - length]
        at = self.begin
        while at < self.end - length:
            starts.append(at)
            at += MINUTE
        return min(self.reliable((at, at + length)) for at in starts)

    def valid(self, span: Span) -> float:
        """Seconds of valid heart rate in a stretch."""
        return self.gathered(self.all.fetal.valid.values.tolist(), span)

    def active(self, span: Span) -> float:
        """Seconds of measured uterine activity in a stretch."""
        return round(self.gathered(self.all.uterine.measured.values.tolist(), span), 6)

    # ------------------------------------------------------------ baseline

    @cached_property
    def seconds(self) -> list[tuple[float, bool]]:
        """Of each second the level of its ten minutes, and whether its minute is marked."""
        bands = self.all.fetal.bandwidth.values.tolist()
        made = []
        for ten in self.all.fetal.baseline:
            for second in range(round(ten.end_s - ten.start_s)):
                at = int((ten.start_s + second + 0.5 - self.starts) // MINUTE)
                made.append((ten.mean_bpm if ten.determinate else NAN, bands[at] > 25.0))
        return made

    def _mean_level(self, span: Span) -> float:
        """Mean of two minutes of baseline or more (NICHD); minutes of marked variability are left
        out unless they are five and all there is."""
        first, stop = (max(0, round(at - self.starts)) for at in span)
        seen = [one for one in self.seconds[first:stop] if known(one[0])]
        calm = [bpm for bpm, marked in seen if not marked]
        if len(calm) < 120 and len(seen) >= 300:
            calm = [bpm for bpm, _ in seen]
        return _mean(calm) if len(calm) >= 120 else NAN

    def level(self, span: Span) -> Level:
        """The baseline of a stretch; of the ten minutes before where it has none of its own."""
        asked = _overlap(span, (self.starts, self.all.duration_s)) >= 300.0
        mean, carried, where = self._mean_level(span), False, span
        if not known(mean):
            before = (span[0] - TEN, span[0])
            mean, carried, where = self._mean_level(before), True, before
        if not known(mean):
            return Level(NAN, NAN, NAN, NAN, False, span, asked)
        low = mean - 5.0 * self._share_of_falls(where)
        return Level(
            5.0 * math.floor(mean / 5.0 + 0.5),
            math.floor(mean + 0.5),
            5.0 * math.floor(low / 5.0 + 0.5),
            math.floor(low + 0.5),
            carried,
            where,
            asked,
        )

    def _share_of_falls(self, span: Span) -> float:
        taken = sum(_overlap(span, (f.onset_s, f.end_s)) for f in self.falls if not f.shallow)
        return min(1.0, taken / (span[1] - span[0]))

    @cached_property
    def own_levels(self) -> list[Level]:
        """Of each ten minutes from the window's start; the first is never shorter than ten."""
        spans = [span for span, _, _ in self.tens]
        spans[0] = (min(spans[0][0], spans[0][1] - TEN), spans[0][1])
        return [self.level(span) for span in spans]

    def first_level(self) -> Level | None:
        """Of the first ten minutes of the recording that have one: the start of labour."""
        tens = self.all.fetal.baseline
        return next((self.level((t.start_s, t.end_s)) for t in tens if t.determinate), None)

    def hour_before(self, span: Span) -> Level | None:
        """Of the ten minutes an hour before (or from the first signal on, within five minutes)."""
        start = span[0] - HOUR
        if start < self.starts - 300.0:
            return None
        start = max(start, self.starts)
        one = self.level((start, start + TEN))
        return one if known(one.whole) and not one.carried else None

    # ------------------------------------------------------------ variability

    def bands(self, span: Span, *, filled: bool = False) -> list[float]:
        """The minutes whose middle lies in a stretch."""
        values = self.filled if filled else list(self.all.fetal.bandwidth.values)
        return [
            value
            for (start, end), value in zip(self.minutes, values, strict=True)
            if span[0] <= 0.5 * (start + end) < span[1]
        ]

    @cached_property
    def filled(self) -> list[float]:
        """What a fall took has the least bandwidth measured within ten minutes of it."""
        values = list(self.all.fetal.bandwidth.values)
        made = list(values)
        for place, minute in enumerate(self.minutes):
            touched = any(
                fall.onset_s < minute[1] and minute[0] < fall.end_s + MINUTE for fall in self.falls
            )
            if not known(values[place]) and touched:
                near = [v for v in values[max(0, place - 10) : place + 11] if known(v)]
                made[place] = min(near, default=NAN)
        return made

    def usual(self, minutes: Sequence[float]) -> float:
        """Mean of the minutes, without a few that are over 2.2 times as wide as the middle one."""
        seen = [v for v in minutes if known(v)]
        if not seen:
            return NAN
        plain = [v for v in seen if v <= 2.2 * median(seen)]
        return _mean(plain if len(plain) >= 0.65 * len(seen) else seen)

    def named(self, minutes: Sequence[float]) -> str:
        """NICHD: absent, minimal to 5, moderate 6 to 25, marked over 25 bpm."""
        seen = sum(map(known, minutes))
        if seen < max(3, 0.3 * len(minutes)):
            return ""
        width = self.usual(minutes)
        if width < 2.5:
            return "absent"
        return "minimal" if width <= 5.0 else "moderate" if width <= 25.0 else "marked"

    def variability(self, span: Span) -> tuple[str, float]:
        """Name and width; no livelier for what falls took."""
        bare, filled = self.bands(span), self.bands(span, filled=True)
        name, width = self.named(bare), self.usual(bare)
        lower, narrower = self.named(filled), self.usual(filled)
        if [known(v) for v in bare] == [known(v) for v in filled]:
            return name, width
        low = ["absent", "minimal"]
        if lower in low and (name not in low or low.index(lower) < low.index(name)):
            return lower, narrower
        return name, (min(width, narrower) if name else width)

    @cached_property
    def tens(self) -> list[tuple[Span, str, float]]:
        """Each ten minutes of the window; what is left joins the last if under five minutes."""
        edges = [self.begin]
        while edges[-1] + TEN < self.end:
            edges.append(edges[-1] + TEN)
        if len(edges) > 1 and self.end - edges[-1] < 300.0:
            edges.pop()
        edges.append(self.end)
        spans = list(pairwise(edges))
        return [(span, *self.variability(span)) for span in spans]

    @cached_property
    def means(self) -> tuple[float, float]:
        """Least and greatest mean bandwidth of any half hour of the window (steps of a minute)."""
        length = min(self.end - self.begin, HALF_HOUR)
        lows, highs = [], []
        at = self.begin
        while at <= self.end - length + 1e-6:
            span = (at, at + length)
            seen = [v for v in self.bands(span) if known(v)]
            filled = [v for v in self.bands(span, filled=True) if known(v)]
            high = _mean(seen) if len(seen) >= 5 else NAN
            low = self.variability(span)[1] if known(high) else NAN
            if not known(high) and len(filled) >= 5:
                low = _mean(filled)
            lows += [v for v in (low, high) if known(v)]
            highs += [high] if known(high) else []
            at += MINUTE
        return min(lows, default=NAN), max(highs, default=NAN)

    def measured(self) -> int:
        return sum(map(known, self.bands((self.begin, self.end))))

    def _run(
        self,
        values: Sequence[float],
        meets: Callable[[float], bool],
        *,
        over_gaps: bool,
        calm: bool = False,
    ) -> Run | None:
        """The longest run that has a minute in the window, followed to the window's end."""
        spans = [m for m, v in zip(self.minutes, values, strict=True) if known(v)]
        seen = [v for v in values if known(v)]
        steady = list(seen)
        for i in range(1, len(seen) - 1):
            steady[i] = median(seen[i - 1 : i + 2])
            if calm and 2 <= i < len(seen) - 2:
                steady[i] = min(steady[i], median(seen[i - 2 : i + 3]))
        best: Run | None = None
        first: int | None = None
        for i, span in enumerate(spans):
            gap = i > 0 and span[0] - spans[i - 1][1] > 5 * MINUTE
            if not meets(steady[i]):
                first = None
                continue
            if first is None or (gap and not over_gaps):
                first = i
            middle = 0.5 * (span[0] + span[1])
            if not self.begin <= middle < self.end:
                continue
            started = spans[first][0]
            end = min(span[1], self.end)
            unseen = first == 0 or started - spans[first - 1][1] > 5 * MINUTE
            made = Run(i + 1 - first, (end - started) / MINUTE, unseen, (started, end))
            if best is None or made.minutes > best.minutes:
                best = made
        return best

    def reduced(self, *, over_gaps: bool = False) -> Run | None:
        return self._run(self.filled, lambda v: v < 5.0, over_gaps=over_gaps, calm=True)

    def mostly_reduced(self) -> Span | None:
        """From one minute under 5 bpm to another, in the last hour, four fifths of them so."""
        hour = [
            (begin, begin + MINUTE, value)
            for (begin, _), value in zip(self.minutes, self.filled, strict=True)
            if known(value) and self.end - 3600.0 <= begin + MINUTE / 2 < self.end
        ]
        best: Span | None = None
        for first, (begin, _, value) in enumerate(hour):
            spans = [
                (begin, min(end, self.end))
                for last, (_, end, other) in enumerate(hour)
                if last >= first
                and value < 5
                and other < 5
                and end > self.begin
                and 5 * sum(v < 5 for _, _, v in hour[first : last + 1]) >= 4 * (last + 1 - first)
            ]
            for span in spans[-1:]:
                seen = sum(map(known, self.bands(span, filled=True)))
                whole = 5 * seen * MINUTE >= 4 * (span[1] - span[0])
                if whole and (best is None or span[1] - span[0] > best[1] - best[0]):
                    best = span
        return best

    def increased(self) -> Run | None:
        """What a fall took is as lively as the livelier of the minutes beside it, two away."""
        values = list(self.all.fetal.bandwidth.values)
        for place, minute in enumerate(self.minutes):
            touched = any(
                fall.onset_s < minute[1] and minute[0] < fall.end_s + MINUTE for fall in self.falls
            )
            if known(values[place]) or not touched:
                continue
            bare = self.all.fetal.bandwidth.values
            before = [i for i in range(place) if known(bare[i])][-1:]
            after = [i for i in range(place + 1, len(bare)) if known(bare[i])][:1]
            near = [bare[i] for i in (*before, *after) if abs(i - place) <= 2]
            values[place] = max(near, default=NAN)
        return self._run(values, lambda v: v > 25.0, over_gaps=False)

    def undulation(self, *, pseudo: bool = False) -> Span | None:
        """The longest undulation that reaches into the window, to its end."""
        spans = [
            (one.start_s, min(one.end_s, self.end))
            for one in self.all.fetal.sinusoidal
            if one.pseudo == pseudo and one.start_s < self.end and one.end_s > self.begin
        ]
        return max(spans, key=lambda s: s[1] - s[0], default=None)

    # ------------------------------------------------------------ events

    def here(self, which: Which) -> list[Deceleration]:
        return [f for f in self.falls if which(f) and f.onset_s < self.end and f.end_s > self.begin]

    def lasted(self, fall: Deceleration) -> float:
        return min(fall.end_s, self.end) - fall.onset_s

    def long(self) -> list[Deceleration]:
        """Falls of two minutes or more so far, the longest first.

        One that begins before another was seen back is a piece of that, and may make it longer.
        """
        found: list[Deceleration] = []
        for fall in sorted(self.here(not_shallow), key=lambda f: f.onset_s):
            for place, one in enumerate(found):
                if self.back(one) or not one.onset_s < fall.onset_s < min(one.end_s, self.end):
                    continue
                ends_it = min(fall.end_s, self.end) >= min(one.end_s, self.end)
                lowest = min(one.nadir_bpm, fall.nadir_bpm)
                found[place] = replace(
                    one,
                    end_s=max(one.end_s, fall.end_s),
                    nadir_bpm=lowest,
                    depth_bpm=one.depth_bpm + one.nadir_bpm - lowest,
                    recovered=self.back(fall) and ends_it,
                )
                break
            else:
                found.append(fall)
        return sorted(
            (f for f in found if self.lasted(f) >= 120.0), key=lambda f: -self.lasted(f)
        )  # fmt: skip

    def back(self, fall: Deceleration) -> bool:
        return fall.end_s <= self.end and fall.recovered

    def open_fall(self) -> Deceleration | None:
        found = [f for f in self.here(not_shallow) if not self.back(f)]
        return max(found, key=lambda f: f.onset_s, default=None)

    def falls_weigh(self) -> bool:
        """Several falls of two minutes, one not come back, or the last minute and more in one."""
        last, long = self.open_fall(), self.long()
        if last is not None and self.lasted(last) > 60.0:
            return True
        return len(long) > 1 or any(not self.back(f) for f in long)

    def accelerations(self) -> int:
        return sum(self.begin <= a.peak_s < self.end for a in self.all.fetal.accelerations)

    def carries(self, place: int, which: Which) -> bool:
        """Whether a contraction comes with a fall: its own, or one that lasts over its peak."""
        return any(which(f) and self._belongs(f, place) for f in self.falls)

    def readable(self, place: int) -> bool:
        """The heart rate is there for half of a contraction and the half minute after it."""
        one = self.squeezes[place]
        span = (one.onset_s, one.end_s + 30.0)
        length = min(span[1], self.all.duration_s) - span[0]
        return self.valid(span) >= 0.5 * length

    def places(self, span: Span) -> list[int]:
        return [i for i, c in enumerate(self.squeezes) if span[0] <= c.peak_s < span[1] - 1e-6]

    def stretches(self, length: float, peaks: Sequence[float], *, whole: bool = False,
                  parts: int = 1) -> list[Span]:  # fmt: skip
        """Every stretch of a length in the window that differs in the events it holds."""
        begin = self.starts if whole else max(self.starts, min(self.begin, self.end - length))
        length = min(length, self.end - begin)
        edges = {begin, self.end - length}
        for peak in peaks:
            for part in range(parts + 1):
                edges.add(peak - part * length / parts)
        inside = sorted(e for e in edges if begin <= e <= self.end - length)
        return [(e, e + length) for e in inside]

    def with_contractions(self, which: Which, *, strictly: bool) -> Pattern:
        """Whether falls come with half (or, strictly, more) of the contractions of 20 minutes."""
        begin = max(self.starts, min(self.begin, self.end - TWENTY))
        asked = (begin, self.end)
        seen = [
            f for f in self.falls if which(f) and f.onset_s < self.end and f.end_s > begin
        ]  # fmt: skip
        if len(seen) < 2:
            return Pattern(False, NAN, asked)
        if not self.all.uterine.present:
            return Pattern(None, NAN, asked, "there is no activity channel")
        carried = [self.carries(i, which) for i in range(len(self.squeezes))]
        read = [self.readable(i) or carried[i] for i in range(len(self.squeezes))]
        best: tuple[float, Span] | None = None
        most, at_most = -1.0, asked
        poor: list[float] = []
        peaks = [c.peak_s for c in self.squeezes]
        spans = self.stretches(TWENTY, peaks)
        for span in spans:
            places = self.places(span)
            number, of = sum(carried[i] for i in places), sum(read[i] for i in places)
            share = number / of if of else 0.0
            active = self.active(span)
            enough = self.enough(span)
            yes = (share > 0.5 if strictly else share >= 0.5) and enough and number >= 2
            if share > most:
                most, at_most = share, span
            if yes and (best is None or share > best[0]):
                best = (share, span)
            if not enough:
                there = sum(f.onset_s < span[1] and f.end_s >= span[0] for f in seen)
                poor += [active] if there >= 2 else []
        if best is not None:
            return Pattern(True, *best)
        if poor:
            return Pattern(None, NAN, asked, "activity was measured in only")
        alone = [f for f in seen if not self._with_one(f)]
        for span in spans:
            places = self.places(span)
            more = sum(span[0] <= f.nadir_s < span[1] for f in alone)
            number = sum(carried[i] for i in places) + more
            of = sum(read[i] for i in places) + more
            most = number > of / 2 if strictly else number >= of / 2
            if more and number >= 2 and most:
                return Pattern(None, NAN, asked, f"with {len(alone)} of {len(seen)} decelerations")
        inside = self.places((spans[0][0], spans[-1][1]))
        unread = [i for i in inside if not self.readable(i)]
        if len(unread) > 0.5 * len(inside):
            return Pattern(None, NAN, asked, f"through {len(unread)} of {len(inside)} contraction")
        return Pattern(False, most, at_most)

    def _with_one(self, fall: Deceleration) -> bool:
        over = any(fall.onset_s <= c.peak_s < fall.end_s for c in self.squeezes)
        return fall.contraction >= 0 or over

    def lasting(self, which: Which) -> tuple[Span, int] | None:
        """The longest time that over half of contractions carried one, followed to here.

        Stretches of 20 minutes that show the pattern belong together where they share a
        contraction that carries one.
        """
        if not self.all.uterine.present:
            return None
        carried = [self.carries(i, which) for i in range(len(self.squeezes))]
        read = [self.readable(i) or carried[i] for i in range(len(self.squeezes))]
        runs: list[tuple[int, int]] = []
        peaks = [c.peak_s for c in self.squeezes]
        for span in self.stretches(TWENTY, peaks, whole=True):
            places = self.places(span)
            with_it = [i for i in places if carried[i]]
            if len(with_it) < 2 or len(with_it) <= 0.5 * sum(read[i] for i in places):
                continue
            if runs and with_it[0] <= runs[-1][1]:
                runs[-1] = (runs[-1][0], max(runs[-1][1], with_it[-1]))
            else:
                runs.append((with_it[0], with_it[-1]))
        best: tuple[Span, int] | None = None
        for first, last in runs:
            falls = [
                f
                for f in self.falls
                for i in range(first, last + 1)
                if which(f) and self._belongs(f, i)
            ]
            onset = min(f.onset_s for f in falls if self._belongs(f, first))
            end = max(f.end_s for f in falls)
            if end <= self.begin:
                continue
            span = (onset, min(end, self.end))
            if best is None or span[1] - span[0] > best[0][1] - best[0][0]:
                best = (span, sum(carried[first : last + 1]))
        return best

    def _belongs(self, fall: Deceleration, place: int) -> bool:
        """Its own, one over whose peak it lasts, and of two minutes or more the one it began in."""
        one = self.squeezes[place]
        if self._place.get(fall.contraction) == place or fall.onset_s <= one.peak_s < fall.end_s:
            return True
        last = max((c.peak_s for c in self.squeezes if c.peak_s < fall.onset_s), default=NAN)
        began = one.peak_s == last and fall.onset_s <= one.end_s
        return fall.contraction >= 0 and fall.end_s - fall.onset_s >= 120.0 and began

    def series(self, which: Which, apart: float) -> Span | None:
        """The longest series of falls no further apart than that, to the window's end."""
        best: Span | None = None
        began = end = NAN
        for fall in sorted((f for f in self.falls if which(f)), key=lambda f: f.onset_s):
            if not known(began) or fall.onset_s - end > apart:
                began, end = fall.onset_s, fall.end_s
            end = max(end, fall.end_s)
            if end > self.begin and fall.onset_s < self.end:
                so_far = (began, min(end, self.end))
                if best is None or so_far[1] - so_far[0] > best[1] - best[0]:
                    best = so_far
        return best

    def by_one(self, found: Pattern, which: Which, *, strictly: bool) -> bool:
        """Whether one contraction more or fewer that carries one would turn the answer."""
        places = self.places(found.span)
        number = sum(self.carries(i, which) for i in places)
        of = sum(self.readable(i) or self.carries(i, which) for i in places)

        def reached(count: int) -> bool:
            return count >= 2 and (count > of / 2 if strictly else count >= of / 2)

        if found.answer:
            return not reached(number - 1)
        return found.answer is False and number < of and reached(number + 1)

    def by_unread(self, found: Pattern, which: Which, *, strictly: bool) -> bool:
        """Whether the contractions that could not be read through could make the pattern."""
        places = self.places(found.span)
        number = sum(self.carries(i, which) for i in places)
        unread = sum(not self.readable(i) and not self.carries(i, which) for i in places)
        if found.answer is not False or not unread or not number:
            return False
        most, half = number + unread, len(places) / 2
        return most >= 2 and (most > half if strictly else most >= half)

    def lost_about(self, fall: Deceleration) -> float:
        """Share lost from 45 s before a fall to 45 s after it, at most to the window's end."""
        begin = fall.onset_s - 45.0
        end = min(min(fall.end_s, self.end) + 45.0, self.end)
        return 1.0 - self.reliable((begin, end))

    def rate(self, span: Span) -> float:
        """Contractions in 10 minutes; over the whole stretch where half of it was not measured."""
        told = self.active(span) if self.enough(span) else span[1] - span[0]
        return 600.0 * len(self.places(span)) / told

    def enough(self, span: Span) -> bool:
        """Half of the uterine activity of a stretch was measured."""
        return self.active(span) >= round(0.5 * (span[1] - span[0]), 6)

    @cached_property
    def busiest(self) -> tuple[bool | None, float, Span]:
        """Most contractions in 10 minutes, averaged over any 30 of the window."""
        if not self.all.uterine.present:
            return None, NAN, (self.begin, self.end)
        best, where, short = -1.0, (NAN, NAN), False
        for span in self.stretches(HALF_HOUR, [c.peak_s for c in self.squeezes]):
            short = short or not self.enough(span)
            rate = self.rate(span)
            if rate > best + 1e-9:
                best, where = rate, span
        if best > 5.0:
            return True, best, where
        return (None if short else False), best, where

    def two_tens(self) -> tuple[bool | None, float, Span]:
        """The lesser of the contractions of two successive ten minutes."""
        best, where, short = -1.0, (NAN, NAN), False
        for begin, end in self.stretches(TWENTY, [c.peak_s for c in self.squeezes], parts=2):
            if end - begin < TWENTY - 1e-6:
                return None, NAN, (begin, end)
            middle = begin + TEN
            lesser = min(len(self.places((begin, middle))), len(self.places((middle, end))))
            short = short or self.active((begin, end)) < 0.5 * TWENTY
            if lesser > best:
                best, where = lesser, (begin, end)
        if best > 5:
            return True, best, where
        return (None if short else False), best, where

    # ------------------------------------------------------------ kinds of falls

    def concerning(self, fall: Deceleration) -> list[str]:
        """NICE: what makes a variable deceleration concerning."""
        said = []
        if fall.end_s - fall.onset_s > 60.0:
            said.append("longer than 60 s")
        if fall.variability_within_bpm < 5.0:
            said.append("reduced variability within")
        if fall.fails_to_return:
            said.append("fails to return")
        elif fall.slow_return:
            said.append("slow return")
        had = sorted(
            f.end_s
            for f in self.falls
            if f.kind is DecelerationKind.VARIABLE and (f.shoulder_before or f.shoulder_after)
        )
        bare = not (fall.shoulder_before or fall.shoulder_after)
        if bare and len(had) >= 2 and had[1] < fall.onset_s:
            said.append("loss of shouldering")
        return said

    def is_concerning(self, fall: Deceleration) -> bool:
        if fall.shallow:
            return False
        return prolonged(fall) or (variable(fall) and bool(self.concerning(fall)))

    def untold_and_concerning(self, fall: Deceleration) -> bool:
        return unpaired(fall) and not fall.shallow and bool(self.concerning(fall))

    @cached_property
    def is_late(self) -> Which:
        """Late by NICHD and NICE: shallow ones with low variability, or where they recur."""
        low = any(name in ("absent", "minimal") for _, name, _ in self.tens)
        low = low or self.means[0] < 5.0

        def every(fall: Deceleration) -> bool:
            return late(fall) or (fall.shallow and fall.kind is DecelerationKind.LATE)

        return every if low or self.with_contractions(every, strictly=False).answer else late

    def recurring(self, which: Which) -> Which:
        """With two of them in the window, prolonged falls are of the pattern, too."""
        if len(self.here(which)) < 2:
            return which
        return lambda fall: which(fall) or (prolonged(fall) and not fall.shallow)

    def recurring_late(self) -> Which:
        """With two late ones in the window abrupt ones that are late in their timing, too."""
        is_late = self.is_late
        if len(self.here(is_late)) < 2:
            return is_late
        return self.recurring(lambda fall: is_late(fall) or late_but_abrupt(fall))

    def halved(self) -> Span | None:
        """The longest stretch taken for half a rate, those under a minute apart as one."""
        joined: list[Span] = []
        for one in sorted(self.all.fetal.artefacts, key=lambda one: one.start_s):
            here = (max(one.start_s, self.begin), min(one.end_s, self.end))
            if one.kind is not ArtefactKind.HALVING or here[0] >= here[1]:
                continue
            if joined and here[0] - joined[-1][1] < MINUTE:
                joined[-1] = (joined[-1][0], max(joined[-1][1], here[1]))
            else:
                joined.append(here)
        return max(joined, key=lambda span: span[1] - span[0], default=None)


def late_but_abrupt(fall: Deceleration) -> bool:
    return variable(fall) and fall.contraction >= 0 and fall.lag_s > 14.0


def not_shallow(fall: Deceleration) -> bool:
    return not fall.shallow


def prolonged(fall: Deceleration) -> bool:
    return fall.kind is DecelerationKind.PROLONGED and not fall.shallow


def late(fall: Deceleration) -> bool:
    if fall.shallow:
        return False
    long = prolonged(fall) and not fall.abrupt and fall.contraction >= 0 and fall.lag_s > 14.0
    return fall.kind is DecelerationKind.LATE or long


def variable(fall: Deceleration) -> bool:
    if fall.shallow:
        return False
    return fall.kind is DecelerationKind.VARIABLE or (prolonged(fall) and fall.abrupt)


def unpaired(fall: Deceleration) -> bool:
    if fall.shallow:
        return False
    alone = prolonged(fall) and not fall.abrupt and fall.contraction < 0
    return fall.kind is DecelerationKind.GRADUAL_UNPAIRED or alone


def early(fall: Deceleration) -> bool:
    return fall.kind is DecelerationKind.EARLY and not fall.shallow


# ---------------------------------------------------------------- a class


@dataclass
class Told:
    """What is said of a window. rank of a line: 0 best; -1: the line makes no class."""

    worst: int = 2
    stated: list[tuple[str, float, tuple[Span, ...]]] = field(default_factory=list)
    ranks: dict[str, int] = field(default_factory=dict)
    features: dict[str, str] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)
    withheld: list[str] = field(default_factory=list)
    open: list[str] = field(default_factory=list)
    whose: list[str] = field(default_factory=list)
    unseen: list[str] = field(default_factory=list)
    above: list[str] = field(default_factory=list)
    near: list[tuple[int, bool, str]] = field(default_factory=list)
    lost: float = 0.0
    hidden: list[tuple[int, float, str]] = field(default_factory=list)

    def say(self, line: str, rank: int, value: float = NAN, *spans: Span, of: str = "") -> None:
        self.stated.append((line, value, spans))
        self.ranks[line] = rank
        self.features[line] = of

    def weighs(self, feature: str) -> bool:
        return any(self.ranks[line] > 0 and of == feature for line, of in self.features.items())

    @property
    def rank(self) -> int:
        return max([0, *self.ranks.values()])

    def nearly(self, rank: int, value: float, threshold: float, met: bool, words: str,
               within: float | None = None, lost: float | None = None, band: bool = False,
               ) -> None:  # fmt: skip
        """A twentieth of the threshold away, or 1 bpm of a baseline; more where signal is lost."""
        off = abs(value - threshold)
        if known(value) and off <= (0.05 * threshold if within is None else 1.0):
            self.near.append((rank, met, words))
        gone = self.lost if lost is None else lost
        share = gone if band else min(0.05, gone) + gone
        of_baseline = 1.0 if gone >= 0.05 else 0.0
        far = share * threshold if within is None else of_baseline
        if known(value) and not met and off <= far and not (band and value >= 6.5):
            self.hides(rank, words, gone)

    def hides(self, rank: int, words: str, lost: float | None = None) -> None:
        """From 2 % lost on, what was lost may have made the worse of two classes."""
        gone = self.lost if lost is None else lost
        if gone >= 0.02:
            self.hidden.append((rank, gone, words))

    @property
    def edges(self) -> list[str]:
        rank = self.rank
        return [w for r, met, w in self.near if (met and r == rank) or (not met and r > rank)]

    @property
    def refusal(self) -> list[str]:
        if self.worst == self.rank == 2:
            return []
        why = [*self.refused, *self.open]
        why += [w for r, gone, w in self.hidden if r > self.rank and (self.rank or gone >= 0.05)]
        return why if self.rank else [*why, *self.withheld, *self.whose]

    @property
    def not_assessed(self) -> list[str]:
        if self.worst == self.rank == 2:
            return [*self.refused, *self.withheld, *self.unseen]
        return [*self.withheld, *self.unseen] if self.rank else self.unseen

    @property
    def deciding(self) -> list[str]:
        if self.refusal and (self.rank == 0 or self.worst != 2):
            return []
        return list(dict.fromkeys(s for s, _, _ in self.stated if self.ranks[s] == self.rank))


def _window(told: Told, seen: Plain, stage: Stage) -> None:
    """What the three standards of labour ask of any window."""
    if stage is Stage.ANTEPARTUM:
        told.say("limit-labour", -1)
    minutes = (seen.end - seen.begin) / MINUTE
    if minutes < 10.0:
        told.say("limit-window", -1, minutes)
        told.refused.append("the window is too short")
    share, poorest = seen.reliable((seen.begin, seen.end)), seen.poorest()
    told.lost = 1.0 - share
    if share < 0.5:
        told.say("limit-signal", -1, share)
        told.refused.append("too little signal")
    elif poorest < 0.5:
        told.say("limit-ten-minutes", -1, poorest, (NAN, NAN))
        told.withheld.append("the heart rate from")
    if 1.0 - share > 0.2:
        told.say("limit-loss", -1, 1.0 - share)
        told.unseen.append("of the heart-rate signal is lost or doubtful")
        widths = [width for _, name, width in seen.tens if name]
        least = min([w for w in (*widths, seen.means[0]) if known(w)], default=NAN)
        if seen.here(not_shallow) or least < 6.5:
            told.withheld.append("of the heart rate is lost or doubtful, and")
    inside = seen.places((seen.begin, seen.end))
    unread = [i for i in inside if not seen.readable(i)]
    if len(unread) > 0.5 * len(inside):
        told.withheld.append(f"the heart rate could not be read through {len(unread)} of")
    kinds = [
        one.kind
        for one in seen.all.fetal.artefacts
        if (one.start_s, one.end_s) in seen.doubtful
        and one.start_s < seen.end
        and one.end_s > seen.begin
    ]
    if kinds:
        said = ", ".join(kind.value for kind in dict.fromkeys(kinds))
        pulse = "; feel the maternal pulse" if ArtefactKind.MATERNAL in kinds else ""
        told.unseen.append(f"not relied on: {said}{pulse}")


def _beyond(told: Told, seen: Plain) -> None:
    """What is said above the class."""
    long = seen.long()
    lasting = [f for f in long if not seen.back(f)]
    last = seen.open_fall()
    if not lasting and last is not None and seen.lasted(last) < 15.0:
        told.above.append("falling at the end: for")
    elif lasting or last is not None:
        told.above.append("not recovered at the end: a fall of")
    if len(long) > 1 or (long and told.rank == 0):
        told.above.append(f"{len(long)} prolonged fall")
    doubted = []
    for kind in (ArtefactKind.MATERNAL, ArtefactKind.DOUBLING, ArtefactKind.HALVING):
        spans = [
            a.end_s - a.start_s
            for a in seen.all.fetal.artefacts
            if a.kind is kind and a.start_s < seen.end and a.end_s > seen.begin
        ]
        doubted += [kind] if sum(spans) >= 60.0 else []
    if doubted:
        told.whose.append("the rate ")
        told.above.append("the rate ")


def _no_level(told: Told, seen: Plain) -> None:
    for one in seen.own_levels:
        if one.asked_for and not known(one.whole):
            told.withheld.append("the baseline from")


def _few_minutes(told: Told, seen: Plain) -> None:
    """FIGO and NICE take a mean of five measured minutes or more."""
    minutes, low = seen.measured(), seen.means[0]
    if not known(low):
        told.say("limit-variability", -1, minutes)
        told.refused.append("variability could be measured in")
    elif minutes < 5:
        told.withheld.append("variability could be measured in")


def _bridged(told: Told, seen: Plain, line: str) -> None:
    """Reduced for over 50 minutes, were the unmeasured ones among them."""
    run, bridged = seen.reduced(), seen.reduced(over_gaps=True)
    if run and bridged and run.minutes <= 50.0 < bridged.elapsed:
        told.say(line, -1, bridged.elapsed, bridged.span)
        unmeasured = bridged.elapsed - bridged.minutes
        told.unseen.append(f"variability of {unmeasured:.0f} min within a run of reduced")


def nichd(seen: Plain, stage: Stage) -> Told:
    """Macones 2008: Category III for a sinusoidal pattern, or absent variability with recurrent
    late or variable decelerations or bradycardia; I with every feature normal; II the rest."""
    told = Told()
    _window(told, seen, stage)
    _no_level(told, seen)
    levels = [one for one in seen.own_levels if known(one.whole)]
    slowest = NAN
    if levels:
        fast = max(levels, key=lambda one: one.rounded)
        slow = min(levels, key=lambda one: one.low_rounded)
        slowest = slow.low_rounded
        if fast.rounded > 160:
            told.say("nichd-tachycardia", 1, fast.rounded, fast.span)
        if slowest < 110:
            told.say("nichd-bradycardia", 1, slowest, slow.span)
        if fast.rounded <= 160 and slowest >= 110:
            told.say("nichd-baseline-normal", 0, levels[-1].rounded, levels[-1].span)
    else:
        told.refused.append("the baseline is indeterminate")
    tens = seen.tens
    named = [one for one in tens if one[1]]
    if not named:
        told.refused.append("variability could not be measured")
    for span, name, _ in tens if named else []:
        if not name and span[1] - span[0] >= 300.0:
            told.withheld.append("variability from")
    for name in ("absent", "minimal", "marked", "moderate"):
        found = [one for one in named if one[1] == name]
        if found and (name != "moderate" or len(found) == len(named)):
            width = _mean([one[2] for one in found])
            told.say(
                f"nichd-variability-{name}",
                int(name != "moderate"),
                width,
                *(s for s, _, _ in found),
            )
    wave = seen.undulation()
    if wave:
        minutes = (wave[1] - wave[0]) / MINUTE
        line = "nichd-III-sinusoidal" if minutes >= 20 else "nichd-sinusoidal-short"
        told.say(line, 2 if minutes >= 20 else 1, minutes, wave)
    _nichd_falls(told, seen, slowest)
    if seen.busiest[0] is None:
        told.unseen.append("contractions: ")
    elif seen.busiest[0]:
        _tachysystole(told, seen, "nichd-tachysystole", *seen.busiest[1:])
    if seen.accelerations():
        told.say("nichd-accelerations", -1)
    _beyond(told, seen)
    return told


def _spans(falls: Sequence[Deceleration]) -> list[Span]:
    return [(f.onset_s, f.end_s) for f in falls]


def _nichd_falls(told: Told, seen: Plain, slowest: float) -> None:
    is_late = seen.is_late
    lates, variables = seen.here(is_late), seen.here(variable)
    alone, longs, earlies = seen.here(unpaired), seen.here(prolonged), seen.here(early)
    for line, rank, falls in (
        ("nichd-late", 1, lates),
        ("nichd-variable", 1, variables),
        ("nichd-gradual-unpaired", 1, alone),
        ("nichd-early", -1, earlies),
    ):
        if falls:
            told.say(line, rank, NAN, *_spans(falls))
    long = seen.long()
    if longs or long:
        length = max(seen.lasted(f) for f in long or longs)
        spans = [(f.onset_s, min(f.end_s, seen.end)) for f in long] or _spans(longs)
        told.say("nichd-prolonged", 1, length / MINUTE, *spans)
    if not (lates or variables or longs or long or alone):
        told.say("nichd-no-late-or-variable", 0)
    tens = seen.tens
    absent = [span for span, name, _ in tens if name == "absent"]
    nothing_known = not any(name for _, name, _ in tens)
    narrowest = min((width for _, name, width in tens if name), default=NAN)
    nearly = 2.5 <= narrowest <= 2.5 * (1.05 + told.lost)
    hidden = False
    for span, name, width_bpm in tens:
        taken = 1.0 - sum(map(known, seen.bands(span))) / ((span[1] - span[0]) / MINUTE)
        near_absent = name == "minimal" and width_bpm <= 2.5 * (1.0 + 0.25 * taken)
        hidden = hidden or (taken >= 0.3 and near_absent)
    if absent and slowest < 110:
        told.say("nichd-III-absent-bradycardia", 2, slowest, *absent)
    elif nearly and slowest < 110:
        told.hides(2, "with bradycardia variability is nearly absent")
    elif hidden and slowest < 110:
        told.open.append("with bradycardia variability from")
    elif nothing_known and slowest < 110:
        told.open.append("the bradycardia would make Category III")
    for kind, falls, which in (
        ("late", lates + alone, seen.recurring_late()),
        ("variable", variables, seen.recurring(variable)),
    ):
        if not falls:
            continue
        found = seen.with_contractions(which, strictly=False)
        line = f"nichd-III-absent-recurrent-{kind}"
        if absent and found.answer is not None and seen.by_one(found, which, strictly=False):
            told.near.append((2, found.answer, "recurrent"))
            if not found.answer:
                told.hides(2, "they are recurrent")
        if absent and seen.by_unread(found, which, strictly=False):
            told.hides(2, "recurrent if the")
        wider = which
        if kind == "late" and alone and found.answer is False:
            wider = _either(which, unpaired)
        possible = seen.with_contractions(wider, strictly=False)
        if found.answer and absent:
            told.say(line, 2, found.share, *absent, found.span)
        elif found.answer:
            told.say("nichd-recurrent", -1, found.share, found.span)
            if nearly:
                told.hides(2, f"with recurrent {kind} decelerations variability is nearly absent")
            if hidden:
                told.open.append(f"with recurrent {kind} decelerations variability from")
            if nothing_known:
                told.open.append(f"the recurrent {kind} decelerations would make")
            elif any(not name for _, name, _ in tens):
                told.unseen.append("variability of part of the window")
        elif possible.answer is None:
            told.unseen.append(f"whether {kind} decelerations are recurrent")
            counted = _either(which, unpaired) if kind == "late" else which
            most, span = _most(seen, counted)
            if most >= 5:
                told.say("nichd-suspected-recurrent", -1, most, span)
            if absent:
                told.open.append(f"whether {kind} decelerations are recurrent")


def _either(one: Which, other: Which) -> Which:
    return lambda fall: one(fall) or other(fall)


def _most(seen: Plain, which: Which) -> tuple[int, Span]:
    """Most falls that begin in any 20 minutes."""
    onsets = [f.onset_s for f in seen.falls if which(f)]
    best, where = -1, (NAN, NAN)
    for span in seen.stretches(TWENTY, onsets):
        number = sum(span[0] <= at < span[1] for at in onsets)
        if number > best:
            best, where = number, span
    return best, where


def figo(seen: Plain, stage: Stage) -> Told:
    """Ayres-de-Campos 2015: normal, suspicious (one feature at least not normal, none
    pathological), pathological."""
    told = Told()
    _window(told, seen, stage)
    _no_level(told, seen)
    levels = [one for one in seen.own_levels if known(one.whole)]
    if levels:
        fast = max(levels, key=lambda one: one.whole)
        slow = min(levels, key=lambda one: one.low)
        told.nearly(1, fast.whole, 160, fast.whole > 160, "more than 160", 1.0)
        told.nearly(2, slow.low, 100, slow.low < 100, "under 100", 1.0)
        told.nearly(1, slow.low, 110, slow.low < 110, "under 110", 1.0)
        if fast.whole > 160:
            told.say("figo-baseline-tachycardia", 1, fast.whole, fast.span)
        if slow.low < 100:
            told.say("figo-baseline-pathological", 2, slow.low, slow.span)
        elif slow.low < 110:
            told.say("figo-baseline-bradycardia", 1, slow.low, slow.span)
        if fast.whole <= 160 and slow.low >= 110:
            told.say("figo-baseline-normal", 0, levels[-1].whole, levels[-1].span)
    else:
        told.refused.append("the baseline is indeterminate")
    low, high = seen.means
    _few_minutes(told, seen)
    if low >= 5 and 5 <= high <= 25:
        told.say("figo-variability-normal", 0, low, (NAN, NAN))
    told.nearly(1, low, 5, low < 5, "under 5", band=True)
    if low < 5:
        told.say("figo-variability-low", 1, low, (NAN, NAN))
    if high > 25:
        told.say("figo-variability-high", 1, high, (NAN, NAN))
    for line, run, most in (
        ("figo-variability-reduced", seen.reduced(), 50),
        ("figo-variability-increased", seen.increased(), 30),
    ):
        if run:
            told.nearly(2, run.minutes, most, run.minutes > most, f"more than {most}")
            if run.minutes > most:
                told.say(line, 2, run.minutes, run.span)
    _bridged(told, seen, "figo-variability-reduced-unmeasured")
    for pseudo in (False, True):
        wave = seen.undulation(pseudo=pseudo)
        if wave:
            minutes = (wave[1] - wave[0]) / MINUTE
            if pseudo:
                told.say("figo-pseudosinusoidal", -1, minutes, wave)
            elif minutes > 30:
                told.say("figo-sinusoidal", 2, minutes, wave)
            else:
                told.say("figo-sinusoidal-short", 1, minutes, wave)
    _figo_falls(told, seen, low)
    _figo_contractions(told, seen)
    if seen.accelerations():
        told.say("figo-accelerations", -1)
    _beyond(told, seen)
    return told


def _tachysystole(told: Told, seen: Plain, line: str, rate: float, span: Span) -> None:
    """Said only where more than five are left without the hills that may be no contractions."""
    there = [seen.squeezes[i] for i in seen.places(span)]
    catheter = seen.all.uterine.sensor is SensorKind.PRESSURE_CATHETER
    sure = [c for c in there if catheter or c.certainty >= 0.5]
    if len(sure) < len(there) and rate * len(sure) / len(there) <= 5:
        told.unseen.append(f"contractions: {len(there) - len(sure)} of {len(there)} hills")
    else:
        told.say(line, -1, rate, span)


def _figo_contractions(told: Told, seen: Plain) -> None:
    answer, rate, span = seen.busiest
    tens = seen.two_tens() if seen.all.uterine.present else (None, NAN, span)
    if answer:
        _tachysystole(told, seen, "figo-tachysystole", rate, span)
    elif tens[0]:
        _tachysystole(told, seen, "figo-tachysystole-successive", *tens[1:])
    elif answer is None:
        told.unseen.append("contractions: ")


def _figo_falls(told: Told, seen: Plain, low: float) -> None:
    reduced = low < 5
    counts_shallow = reduced and not seen.accelerations()

    def prolonged3(fall: Deceleration) -> bool:
        return not fall.shallow and fall.end_s - fall.onset_s > 180.0

    def form(fall: Deceleration) -> bool:
        return not fall.abrupt or fall.return_s > 30.0 or fall.variability_within_bpm < 5.0

    def is_late(fall: Deceleration) -> bool:
        timed = fall.contraction >= 0 and fall.onset_lag_s > 20.0 and fall.lag_s > 14.0
        deep = not fall.shallow or counts_shallow
        return timed and form(fall) and not prolonged3(fall) and deep

    def may_be_late(fall: Deceleration) -> bool:
        return (
            not fall.shallow and fall.contraction < 0 and form(fall) and not prolonged3(fall)
        )  # fmt: skip

    every = _either(not_shallow, is_late)
    _figo_single(told, seen, prolonged3)
    found = seen.with_contractions(every, strictly=True)
    if found.answer is not None and seen.by_one(found, every, strictly=True):
        told.near.append((1, found.answer, "repetitive"))
        if not found.answer:
            told.hides(1, "they are repetitive")
    if seen.by_unread(found, every, strictly=True):
        told.hides(1, "repetitive if the")
    touched = _spans(seen.here(every))
    if found.answer is None:
        told.say("figo-decelerations-untold", 1, NAN, *touched)
        told.unseen.append("whether decelerations are repetitive, or late")
    elif found.answer:
        told.say("figo-decelerations-repetitive", 1, found.share, found.span)
    else:
        told.say("figo-decelerations-normal", 0, NAN, *touched)
    run = seen.lasting(_either(is_late, prolonged3))

    def partly_seen(fall: Deceleration) -> bool:
        timed = fall.contraction >= 0 and fall.onset_lag_s > 20.0 and fall.lag_s > 14.0
        return timed and not fall.shallow and fall.valid_share < 0.95

    wider = seen.lasting(lambda f: is_late(f) or prolonged3(f) or partly_seen(f))
    long_already = run is not None and (run[0][1] - run[0][0]) / MINUTE > 30
    if wider and (wider[0][1] - wider[0][0]) / MINUTE > 30 and not long_already:
        told.hides(2, "decelerations that are late in their timing")
    if run:
        span = run[0]
        minutes = (span[1] - span[0]) / MINUTE
        told.nearly(2, minutes, 30, minutes > 30, "more than 30")
        filled = [v for v in seen.bands(span, filled=True) if known(v)]
        bare = [v for v in seen.bands(span) if known(v)]
        if minutes > 30:
            told.say("figo-decelerations-late-30", 2, minutes, span)
        elif minutes > 20 and len(filled) >= 5 and _mean(filled) < 5:
            told.say("figo-decelerations-late-20", 2, minutes, span)
        elif minutes > 20 and len(bare) < 5:
            told.open.append("are pathological if variability is reduced")
    if found.answer is None:
        series = seen.series(lambda f: is_late(f) or prolonged3(f) or may_be_late(f), 600.0)
        if series and (series[1] - series[0]) / MINUTE > 20:
            told.open.append("decelerations that may be late go on for")


def _figo_single(told: Told, seen: Plain, prolonged3: Which) -> None:
    counted = False
    long = seen.long()
    if long:
        minutes = seen.lasted(long[0]) / MINUTE
        gone = seen.lost_about(long[0])
        told.nearly(2, minutes, 5, minutes > 5, "more than 5", lost=gone)
        told.nearly(1, minutes, 3, minutes > 3, "more than 3", lost=gone)
        counted = minutes > 3
        span = (long[0].onset_s, min(long[0].end_s, seen.end))
        if minutes > 5:
            told.say("figo-decelerations-prolonged-5", 2, minutes, span)
        elif minutes > 3:
            told.say("figo-decelerations-prolonged", 1, minutes, span)
    slow = seen.halved()
    if slow and slow[1] - slow[0] > 300.0:
        told.open.append("is the fetus's own and not counted half")
    if seen.falls_weigh() and not counted:
        told.say("figo-decelerations-long", 1, NAN, *_where(seen))
    flat = [f for f in seen.here(prolonged3) if f.variability_within_bpm < 5]
    if flat:
        longest = max(flat, key=seen.lasted)
        minutes = seen.lasted(longest) / MINUTE
        if minutes > 3:
            told.say("figo-variability-reduced-within", 2, minutes, *_spans([longest]))
    for fall in flat:
        if seen.lasted(fall) > 300.0 and fall.nadir_bpm < 80:
            told.say("figo-decelerations-acute", -1, fall.nadir_bpm, *_spans([fall]))


def _where(seen: Plain) -> list[Span]:
    found = [(f.onset_s, min(f.end_s, seen.end)) for f in seen.long()]
    last = seen.open_fall()
    return found or ([(last.onset_s, seen.end)] if last else [])


def nice(seen: Plain, stage: Stage) -> Told:
    """NG229: all four features white is normal; one amber suspicious; two, or one red,
    pathological."""
    told = Told()
    _window(told, seen, stage)
    _nice_contractions(told, seen)
    _nice_baseline(told, seen)
    maybe = _nice_variability(told, seen)
    untold = _nice_falls(told, seen)
    if seen.accelerations():
        told.say("nice-accelerations", -1)
    amber = {
        told.features[line]
        for line, rank in told.ranks.items()
        if rank == 1 and line != "nice-decelerations-untold"
    }
    if len(amber) >= 2:
        told.say("nice-two-amber", 2, len(amber))
    elif maybe and told.rank == 1 and "variability" not in amber:
        told.open.append("variability may be a second amber feature")
    elif len(amber) == 1 and untold and "decelerations" not in amber:
        told.open.append("decelerations may be a second amber feature")
    _beyond(told, seen)
    if told.rank < 2 and seen.here(seen.is_late):
        told.above.append("the guideline, as amended")
    return told


def _nice_contractions(told: Told, seen: Plain) -> None:
    answer, rate, span = seen.busiest
    mine = [seen.squeezes[i] for i in seen.places((seen.begin, seen.end))]
    catheter = seen.all.uterine.sensor is SensorKind.PRESSURE_CATHETER
    if mine:
        longest = max(mine, key=lambda c: c.end_s - c.onset_s)
        minutes = (longest.end_s - longest.onset_s) / MINUTE
        if minutes > 2:
            line = "nice-hypertonus" if catheter else "nice-long-on-toco"
            told.say(line, 1 if catheter else -1, minutes, (longest.onset_s, longest.end_s),
                     of="contractions")  # fmt: skip
        if catheter and median(c.resting_tone for c in mine) > 25:
            tone = median(c.resting_tone for c in mine)
            told.say("nice-resting-tone", 1, tone, (seen.begin, seen.end), of="contractions")
        if not catheter:
            told.unseen.append("hypertonus")
    if answer is None:
        told.withheld.append("contractions, one of the four features")
    there = [seen.squeezes[i] for i in seen.places(span)] if known(rate) else []
    sure = [c for c in there if catheter or c.certainty >= 0.5]
    if rate >= 5 and rate * len(sure) / len(there) < 5:
        told.withheld.append(f"contractions: {len(there) - len(sure)} of {len(there)} hills")
    elif rate >= 5:
        rests = [b.onset_s - a.end_s for a, b in pairwise(there)]
        rested = rests and median(rests) >= 60.0
        line = "nice-contractions-rested" if rested else "nice-contractions-amber"
        told.say(line, -1 if rested else 1, rate, span, of="contractions")
    elif answer is False and not told.weighs("contractions"):
        told.say("nice-contractions-white", 0, rate, span, of="contractions")
        gone = 1.0 - seen.active(span) / (span[1] - span[0])
        if gone > 0.2 and rate * (1.0 + gone) >= 5:
            told.withheld.append(f"{100 * gone:.0f} % of the activity was not measured")


def _nice_baseline(told: Told, seen: Plain) -> None:
    levels = [one for one in seen.own_levels if known(one.whole)]
    if not levels:
        told.say("nice-baseline-unknown", 1, of="baseline")
        return
    _no_level(told, seen)
    fast = max(levels, key=lambda one: one.whole)
    slow = min(levels, key=lambda one: one.low)
    told.nearly(2, fast.whole, 160, fast.whole > 160, "more than 160", 1.0)
    told.nearly(2, slow.low, 100, slow.low < 100, "under 100", 1.0)
    told.nearly(1, slow.low, 100, 100 <= slow.low <= 109, "100 to 109", 1.0)
    if fast.whole > 160:
        told.say("nice-baseline-red-fast", 2, fast.whole, fast.span, of="baseline")
    if slow.low < 100:
        told.say("nice-baseline-red-slow", 2, slow.low, slow.span, of="baseline")
    if 100 <= slow.low <= 109:
        told.say("nice-baseline-amber", 1, slow.low, slow.span, of="baseline")
    rise, to = -math.inf, (NAN, NAN)
    for one in levels:
        for since in (seen.first_level(), seen.hour_before(one.span)):
            if since is not None and one.whole - since.whole > rise:
                rise, to = one.whole - since.whole, one.span
    if rise >= 20:
        told.say("nice-baseline-rise", 1, rise, to, of="baseline")
    if not told.weighs("baseline"):
        told.say("nice-baseline-white", 0, levels[-1].whole, levels[-1].span, of="baseline")


def _nice_variability(told: Told, seen: Plain) -> bool:
    low, high = seen.means
    _few_minutes(told, seen)
    reduced, increased, bridged = seen.reduced(), seen.increased(), seen.reduced(over_gaps=True)
    of = "variability"
    if reduced:
        minutes = reduced.minutes
        told.nearly(2, minutes, 50, minutes > 50, "more than 50")
        told.nearly(1, minutes, 30, 30 <= minutes <= 50, "30 to 50")
        if minutes > 50:
            told.say("nice-variability-reduced-red", 2, minutes, reduced.span, of=of)
        elif minutes >= 30:
            told.say("nice-variability-reduced-amber", 1, minutes, reduced.span, of=of)
    mostly = seen.mostly_reduced()
    if mostly and mostly[1] - mostly[0] >= 30 * MINUTE and not told.weighs(of):
        minutes = (mostly[1] - mostly[0]) / MINUTE
        told.say("nice-variability-reduced-most", 1, minutes, mostly, of=of)
    if increased:
        line, rank = "short", -1
        if increased.minutes >= 5:
            line, rank = ("amber", 1) if increased.minutes <= 10 else ("red", 2)
        told.say(
            f"nice-variability-increased-{line}", rank, increased.minutes, increased.span, of=of
        )
    _bridged(told, seen, "nice-variability-reduced-unmeasured")
    wave = seen.undulation()
    if wave:
        minutes = (wave[1] - wave[0]) / MINUTE
        if minutes >= 10:
            told.say("nice-sinusoidal", 2, minutes, wave, of=of)
        else:
            told.withheld.append("a sinusoidal undulation has lasted")
    if told.weighs(of):
        return False
    maybe = bridged is not None and 30 <= bridged.elapsed <= 50
    if maybe:
        told.withheld.append("it may have been under 5 bpm for")
    if low >= 5 and 5 <= high <= 25:
        told.say("nice-variability-white", 0, low, (NAN, NAN), of=of)
    if reduced and low < 5:
        told.say("nice-variability-reduced-short", -1, reduced.minutes, reduced.span, of=of)
        if reduced.began_unseen:
            told.withheld.append("variability is under 5 bpm from")
    return maybe


def _nice_falls(told: Told, seen: Plain) -> bool:
    """States the decelerations; whether some could not be told."""
    of = "decelerations"
    long = seen.long()
    red = False
    if long:
        minutes = seen.lasted(long[0]) / MINUTE
        gone = seen.lost_about(long[0])
        told.nearly(2, minutes, 3, minutes >= 3, "3 min or more", lost=gone)
        red = minutes >= 3
        if red:
            span = (long[0].onset_s, min(long[0].end_s, seen.end))
            told.say("nice-prolonged", 2, minutes, span, of=of)
    slow = seen.halved()
    if slow and slow[1] - slow[0] >= 180.0:
        told.open.append("is the fetus's own and not counted half")
    if seen.falls_weigh() and not red:
        told.say("nice-decelerations-long", 1, NAN, *_where(seen), of=of)
    lates = seen.recurring_late()
    answers = {}
    either = _either(lates, seen.is_concerning)
    for name, which in (
        ("late", lates), ("variable", seen.is_concerning), ("either", either),
    ):  # fmt: skip
        found = seen.with_contractions(which, strictly=True)
        answers[name] = found
        if found.answer is not None and seen.by_one(found, which, strictly=True):
            told.near.append((1, found.answer, "repetitive"))
            if not found.answer:
                told.hides(1, "they are repetitive")
        if seen.by_unread(found, which, strictly=True):
            told.hides(1, "repetitive if the")
    for name, which in (("late", lates), ("variable", seen.is_concerning)):
        run = seen.lasting(which)
        minutes = (run[0][1] - run[0][0]) / MINUTE if run else NAN
        told.nearly(2, minutes, 30, minutes > 30, "more than 30")
        found = answers[name]
        if run and minutes > 30:
            told.say(f"nice-{name}-red", 2, minutes, run[0], of=of)
        elif found.answer:
            told.say(f"nice-{name}-repetitive", 1, found.share, found.span, of=of)
        elif name == "variable":
            series = seen.series(_either(which, seen.untold_and_concerning), TWENTY)
            if series and (series[1] - series[0]) / MINUTE > 30:
                minutes = (series[1] - series[0]) / MINUTE
                told.say("nice-variable-lasting", 1, minutes, series, of=of)
    alone = {"nice-late-red", "nice-variable-red"} & set(told.ranks)
    run = seen.lasting(either)
    minutes = (run[0][1] - run[0][0]) / MINUTE if run else NAN
    told.nearly(2, minutes, 30, minutes > 30, "more than 30")
    if run and minutes > 30 and not alone:
        told.say("nice-late-or-variable-red", 2, minutes, run[0], of=of)
    elif answers["either"].answer and not (
        alone | {"nice-late-repetitive", "nice-variable-repetitive"} & set(told.ranks)
    ):
        found = answers["either"]
        told.say("nice-late-or-variable-repetitive", 1, found.share, found.span, of=of)
    untold = _nice_untold(told, seen, answers["variable"])
    if not told.weighs(of):
        told.say("nice-decelerations-white", 0, NAN, of=of)
    return untold


def _nice_untold(told: Told, seen: Plain, variables: Pattern) -> bool:
    maybe = _either(seen.is_late, unpaired)
    untold = False
    for which, found in (
        (seen.is_concerning, variables),
        (maybe, seen.with_contractions(maybe, strictly=True)),
    ):
        if found.answer is not None:
            continue
        untold = True
        told.say("nice-decelerations-untold", 1, NAN, *_spans(seen.here(which)), of="decelerations")
        told.unseen.append("whether decelerations are repetitive, or late")
        series = seen.series(which, 600.0)
        if series and (series[1] - series[0]) / MINUTE > 30:
            told.open.append("decelerations that may be red go on for")
    return untold


def nst(findings: Findings, window: Window, stage: Stage) -> Told:
    """ACOG Practice Bulletin 229: two accelerations within 20 minutes are reactive; without them
    in 40 minutes non-reactive."""
    told = Told(worst=1)
    begin = min(window.start_s, max(findings.fetal.valid.start_s, window.end_s - 40 * MINUTE))
    seen, own = Plain(findings, Window(begin, window.end_s)), Plain(findings, window)
    if stage is not Stage.ANTEPARTUM:
        told.refused.append("the non-stress test is read before labour")
    rises = [a for a in findings.fetal.accelerations if begin <= a.peak_s < window.end_s]
    rises.sort(key=lambda a: a.peak_s)
    doubt = [
        a for a in rises if any(a.onset_s < d[1] and a.end_s > d[0] for d in seen.doubtful)
    ]  # fmt: skip
    if doubt:
        told.say("nst-not-counted", -1, NAN, *((a.onset_s, a.end_s) for a in doubt))
        told.unseen.append("whether some accelerations are the fetus's")
    sure = [a for a in rises if a not in doubt]
    best: list[Span] = []
    for first in sure:
        near = [a for a in sure if 0 <= a.peak_s - first.peak_s <= TWENTY]
        if len(near) > len(best):
            best = [(a.onset_s, a.end_s) for a in near]
    minutes = (window.end_s - begin) / MINUTE
    if len(best) >= 2:
        told.say("nst-accelerations", 0, len(best), *best)
    else:
        share = seen.reliable((begin, window.end_s))
        if share < 0.5:
            told.say("limit-signal", -1, share)
            told.refused.append("of the signal is lost or doubtful")
        if minutes < 40:
            told.say("nst-not-yet", -1, minutes, (begin, window.end_s))
            told.refused.append("not yet reactive")
        else:
            told.say("nst-nonreactive", 1, minutes, (begin, window.end_s))
    most, where = _most(own, variable)
    if most >= 3:
        told.say("nst-decelerations-repetitive", -1, most, where)
    falls = own.here(not_shallow)
    if falls:
        longest = max(falls, key=own.lasted)
        if own.lasted(longest) >= 60.0:
            told.say(
                "nst-deceleration-long", -1, own.lasted(longest) / MINUTE, *_spans([longest])
            )  # fmt: skip
    if findings.weeks is None:
        told.unseen.append("weeks of gestation")
    return told
