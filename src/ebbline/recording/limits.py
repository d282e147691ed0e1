"""What a recording can be at most: bounds that are checked before anything is read into memory."""

from __future__ import annotations

import math

from ebbline.errors import RecordingError

MAX_FILE_BYTES = 2_000_000_000
MAX_TEXT_BYTES = 500_000_000
"""Text (CSV, JSON) takes several times its size in memory while it is read."""
MAX_DURATION_S = 7 * 24 * 3600.0
MAX_SAMPLES = 100_000_000
"""Over all channels of a file, including those that are not heart rate or activity."""
MIN_RATE_HZ = 1 / 60
MAX_RATE_HZ = 1000.0


def is_possible_rate(rate_hz: float) -> bool:
    """True for a sampling rate that a recording can have."""
    return math.isfinite(rate_hz) and MIN_RATE_HZ <= rate_hz <= MAX_RATE_HZ


def check_rate(rate_hz: float, where: str) -> None:
    """Raise RecordingError unless a sampling rate is one that a recording can have."""
    if is_possible_rate(rate_hz):
        return
    raise RecordingError(
        f"a sampling rate of {rate_hz:g} Hz is not possible.",
        where=where,
        remedy=f"Rates from one sample a minute to {MAX_RATE_HZ:g} a second can be read; "
        "correct the rate.",
    )


def check_length(samples: int, rate_hz: float, where: str) -> None:
    """Raise RecordingError when one channel has an impossible rate or is too long."""
    check_rate(rate_hz, where)
    seconds = samples / rate_hz
    if seconds > MAX_DURATION_S:
        raise RecordingError(
            f"the recording would be {seconds / 86400:.1f} days long; the most is "
            f"{MAX_DURATION_S / 86400:g} days.",
            where=where,
            remedy="Correct the number of samples or the rate, or split the recording.",
        )


def check_total(samples: int, where: str) -> None:
    """Raise RecordingError when all channels together hold more than can be read."""
    if samples > MAX_SAMPLES:
        raise RecordingError(
            f"the recording would hold {samples} samples; the most is {MAX_SAMPLES}.",
            where=where,
            remedy="Split the recording or store it at a lower rate.",
        )
