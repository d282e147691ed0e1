"""The trace of a case out of the live store, as it is read live."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from ebbline.live.sample_store import Labour, LiveStore
from ebbline.recording.model import ChannelKind, Context, Recording
from ebbline.terms import SensorKind


def latest_of_case(store: LiveStore, case: str) -> Labour | None:
    """The labour of a case number that began last, also one that has ended; None without any."""
    own = [one for one in store.labours(closed=True) if one.case_number.upper() == case.upper()]
    return max(own, key=lambda one: one.started_at, default=None)


def as_known(
    recording: Recording,
    context: Context,
    sensors: Mapping[tuple[ChannelKind, int], SensorKind],
) -> Recording:
    """A recording with the record's context, and its sensors (by kind and fetus) where the device
    names none."""
    channels = tuple(
        replace(one, sensor=sensors.get((one.kind, one.fetus), one.sensor))
        if one.sensor is SensorKind.UNKNOWN
        else one
        for one in recording.channels
    )
    return replace(recording, channels=channels, context=context)
