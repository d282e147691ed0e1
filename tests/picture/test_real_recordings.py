"""The strip of real recordings, wild as they are.

Recordings: CTU-UHB intrapartum cardiotocography database (Chudáček V, et al. BMC Pregnancy
Childbirth 2014;14:16), PhysioNet, open data commons attribution licence.
"""

from __future__ import annotations

import pytest

from ebbline.picture import Document, draw_strip
from ebbline.picture.style import TRACE
from ebbline.reading.analyse import read
from ebbline.recording import open_recording
from ebbline.terms import Window
from picture.look_over import on_a_trace, overprinted, texts, titles
from shared_data import CTU_UHB, needs_ctu_uhb

pytestmark = needs_ctu_uhb
NAMES = ("1001", "1113", "1477", "1487", "2003", "2039")


@pytest.fixture(scope="module", params=[(name, speed) for name in NAMES for speed in (1, 3)])
def drawn(request: pytest.FixtureRequest) -> tuple[Document, set[str]]:
    """The strip of a whole recording, and the kinds of finding that must be on it."""
    name, speed = request.param
    recording = open_recording(CTU_UHB / f"{name}.hea")
    reading = read(recording)
    whole = Window(0, recording.duration_s)
    fetal = reading.fetuses[0].findings.fetal
    kinds = {f"{fall.kind.value} deceleration at" for fall in fetal.decelerations}
    kinds |= {f"{one.kind.value}" for one in fetal.artefacts}
    return draw_strip(recording, reading, window=whole, speed_cm_per_min=speed), kinds


def test_no_label_lies_on_another_or_on_the_trace(drawn: tuple[Document, set[str]]) -> None:
    for page in drawn[0].pages:
        assert overprinted(page) == []
        assert on_a_trace(page, (TRACE,)) == []


def test_every_kind_of_finding_is_named(drawn: tuple[Document, set[str]]) -> None:
    told = titles(drawn[0])
    assert all(any(one.startswith(kind) for one in told) for kind in drawn[1])


def test_pages_fit_a4_or_say_that_they_do_not(drawn: tuple[Document, set[str]]) -> None:
    for page in drawn[0].pages:
        assert page.width == 29.7
        assert page.height <= 21.0 or (
            page.height < 21.5 and any("taller than A4" in text.text for text in texts(page))
        )
