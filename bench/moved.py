"""A recording shifted, padded or cut at a quiet place reads as before, but for times.

    python -m bench.moved                  every fourth recording
    python -m bench.moved --every 1        all 276 recordings
    python -m bench.moved --list           names each class that moved

The half hour that ends ten minutes before each recording's end is read; then again with silence of
odd seconds put before the recording (on every channel, and on the heart rate with the belt at
rest), and with its first 137, 311 and 733 s cut off where an hour and more is left before the
window. Padding must change nothing: minutes and ten minutes are counted from the first signal.
A cut moves that grid, and takes what was known before; how many classes that changes is printed,
and how many of those said beforehand that they stand on an edge.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

from ebbline.criteria import classify
from ebbline.criteria.model import Classification, Standard
from ebbline.criteria.panel import panel_reading
from ebbline.features import detect
from ebbline.reading.analyse import read_findings
from ebbline.recording import open_recording
from ebbline.recording.model import Channel, ChannelKind, Recording
from ebbline.terms import Window

DATA = Path(os.environ.get("EBBLINE_SHARED", "../shared")) / "data" / "ctu-uhb"
STANDARDS = (Standard.NICHD, Standard.FIGO, Standard.NICE)
PADDINGS_S = (61.0, 137.0, 433.0, 899.0)
CUTS_S = (137.0, 311.0, 733.0)


def padded(recording: Recording, seconds: float, *, belt_at: float = np.nan) -> Recording:
    """So much silence before a recording; belt_at: what the activity channel shows in it."""

    def later(one: Channel) -> Channel:
        value = belt_at if one.kind is ChannelKind.UTERINE_ACTIVITY else np.nan
        silence = np.full(round(seconds * one.rate_hz), value)
        return replace(one, samples=np.concatenate((silence, one.samples)))

    return replace(recording, channels=tuple(map(later, recording.channels)), annotations=())


def cut_off(recording: Recording, seconds: float) -> Recording:
    """A recording without its first seconds."""
    channels = tuple(
        replace(one, samples=one.samples[round(seconds * one.rate_hz) :].copy())
        for one in recording.channels
    )
    return replace(recording, channels=channels, annotations=())


def said(recording: Recording, window: Window) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Of each standard the class and what decides it, and the panel's label."""
    findings = detect(recording)
    classes = [classify(findings, window, one, recording.context) for one in STANDARDS]
    panel = panel_reading(findings, window, recording.context)
    told = [(one.said, one.decided_by) for one in classes]
    return (*told, ("" if panel is None else panel.label, ()))


def on_edge(recording: Recording, window: Window) -> tuple[Classification, ...]:
    """The classes with their words of an edge."""
    return (
        read_findings(recording, [detect(recording)], window=window, history=False)
        .fetuses[0]
        .classes
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--every", type=int, default=4, help="read every n-th recording")
    parser.add_argument("--list", action="store_true", help="name each class that moved")
    asked = parser.parse_args()
    compared: Counter[str] = Counter()
    changed: Counter[str] = Counter()
    told = 0
    for path in sorted(DATA.glob("*.hea"))[:: asked.every]:
        recording = open_recording(path)
        recording = replace(
            recording, context=replace(recording.context, second_stage_start_s=None)
        )
        window = Window(max(0.0, recording.duration_s - 2400.0), recording.duration_s - 600.0)
        before = said(recording, window)
        moved = [
            ("padded", pad, padded(recording, pad, belt_at=belt))
            for pad in PADDINGS_S
            for belt in (np.nan, 0.0)
        ]
        moved += [
            ("cut", -cut, cut_off(recording, cut))
            for cut in CUTS_S
            if window.start_s - cut >= 1800.0
        ]
        edges: tuple[Classification, ...] | None = None
        for way, by_s, other in moved:
            after = said(other, Window(window.start_s + by_s, window.end_s + by_s))
            for place, (old, new) in enumerate(zip(before, after, strict=True)):
                compared[way] += 1
                if old[0] == new[0]:
                    continue
                changed[way] += 1
                who = STANDARDS[place].value if place < len(STANDARDS) else "panel"
                if place < len(STANDARDS):
                    edges = edges or on_edge(recording, window)
                    told += bool(edges[place].edge)
                if asked.list:
                    print(f"{path.stem} {way} {by_s:+.0f} s: {who}: {old} -> {new}")
    for way in compared:
        print(f"{way}: {changed[way]} of {compared[way]} classes changed")
    print(f"of all that changed, {told} had said that they stand on an edge")
    return 1 if changed["padded"] else 0


if __name__ == "__main__":
    sys.exit(main())
