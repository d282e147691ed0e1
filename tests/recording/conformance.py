"""What every format must hold to: checked for each line of the registry, and on bad ones."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from ebbline.recording import Recording
from ebbline.recording.channels import tidy
from ebbline.recording.model import Encoded
from ebbline.recording.registry import Format
from recording.making import ACTIVITY, FETAL, assert_same, labour


def written(made: Format, recording: Recording, place: Path) -> tuple[Recording, Encoded]:
    """The recording after a round trip through the format alone, without the registry."""
    encoded = made.writer().encode(recording, place)
    for path, content in encoded.contents.items():
        path.write_bytes(content)
    return tidy(made.reader().read(place), str(place)), encoded


def check_writer(made: Format, place: Path) -> None:
    """AssertionError unless a format keeps all of a recording, or says what it could not hold."""
    whole = labour()
    again, encoded = written(made, whole, place)
    assert encoded.losses == ()
    assert place in encoded.contents or place.with_suffix(".hea") in encoded.contents
    assert_same(whole, again)
    assert again.provenance.format == made.name
    assert set(whole.provenance.notes) <= set(again.provenance.notes)
    for fact in ("weeks", "oxytocin", "epidural", "parity", "meconium", "fever"):
        assert getattr(again.context, fact) == getattr(whole.context, fact), fact
    check_rates(made, place)
    check_fine_samples(made, place)


def check_rates(made: Format, place: Path) -> None:
    """Each channel comes back at its own rate: alone, slow, fast, and beside another."""
    heart, activity = (
        next(c for c in labour().channels if c.kind is kind) for kind in (FETAL, ACTIVITY)
    )
    for rate, other in ((4.0, 4.0), (4.0, 1.0), (1.0, 4.0), (2.0, 0.5), (0.25, 0.25), (8.0, 2.0)):
        one = Recording(
            "rates",
            (replace(heart, rate_hz=rate), replace(activity, rate_hz=other)),
            context=labour().context,
        )
        again, _ = written(made, one, place)
        assert [c.rate_hz for c in again.channels] == [rate, other]
        assert_same(one, again)


def check_fine_samples(made: Format, place: Path) -> None:
    """A sample that the format cannot hold exactly is held closely, and that is said."""
    heart = next(c for c in labour().channels if c.kind is FETAL)
    fine = replace(heart, samples=heart.samples + 1 / 3 * 0.01)
    again, encoded = written(made, Recording("fine", (fine,)), place)
    change = np.nanmax(np.abs(again.channels[0].samples - fine.samples))
    assert change <= 0.01
    assert bool(encoded.losses) == bool(change > 0)
