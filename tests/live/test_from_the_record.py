"""What the labour record says comes to the live reading: reviews, stage, sensors."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ebbline.journal.chain import Draft
from ebbline.journal.entries import body_from
from ebbline.live.sample_store import Labour, LiveStore, Piece
from ebbline.recording.model import ChannelKind, Context
from ebbline.terms import SensorKind
from ebbline.web.app import create_app
from ebbline.web.live.service import LiveService
from ebbline.web.record.service import Records
from ebbline.web.settings import Settings

NOW = datetime(2030, 5, 1, 22, 0, tzinfo=UTC)


@pytest.fixture
def clock() -> list[datetime]:
    return [NOW - timedelta(hours=3)]


@pytest.fixture
def service(tmp_path: Path, clock: list[datetime]) -> Iterator[LiveService]:
    settings = Settings(store=tmp_path / "w.sqlite")
    library = create_app(settings).state.library
    records = Records(tmp_path / "record.sqlite", library, now=lambda: clock[0])
    records.journal.open_case("24-0117", "4", author="Kim")
    clock[0] = NOW
    yield LiveService(settings, records)
    records.close()


def write(service: LiveService, kind: str, at: datetime = NOW, **said: Any) -> None:
    service._records.journal.append("24-0117", Draft(body_from(kind, said), at, "Kim"))


LABOUR = Labour("x", "Bed 4", "24-0117", NOW - timedelta(hours=3), Context())


def test_a_review_that_the_record_says_is_overdue_is_told(service: LiveService) -> None:
    known = service._known(LABOUR, 0.0)
    assert known is not None
    assert any(one.overdue and one.due_at < NOW for one in known.reviews)
    assert [one.due_at for one in known.reviews] == sorted(one.due_at for one in known.reviews)
    other = Labour("y", "Bed 5", "24-0999", NOW, Context())
    assert service._known(other, 0.0) is None, "a labour without a record has no reviews to be due"


def test_full_dilatation_written_at_ten_is_the_second_stage_on_the_trace(
    service: LiveService,
) -> None:
    write(service, "cervix", NOW - timedelta(hours=1), dilatation_cm=10)
    known = service._known(LABOUR, 3 * 3600.0)
    assert known is not None and known.context.second_stage_start_s == 2 * 3600.0


def test_the_second_stage_of_a_replayed_labour_stays_where_its_trace_was(
    service: LiveService, clock: list[datetime]
) -> None:
    replayed = replace(LABOUR, by_trace=True)
    write(service, "stage", stage="pushing")
    for trace_s in (5000.0, 5600.0, 9000.0):
        known = service._known(replayed, trace_s)
        assert known is not None and known.context.second_stage_start_s == 5000.0
        clock[0] += timedelta(seconds=10)


def test_the_trace_of_a_case_comes_from_the_live_store_also_after_a_restart(
    service: LiveService,
) -> None:
    """Before any live page was opened, as for the archive of a case whose labour is over."""
    assert service._trace("24-0117") is None, "no live store was ever made"
    store = LiveStore(service._place)
    labour = store.open_labour("Bed 4", "24-0117", NOW - timedelta(hours=3))
    heart = (ChannelKind.FETAL_HEART_RATE, 1, SensorKind.UNKNOWN)
    store.append([Piece(labour.id, *heart, 4.0, 0, np.full(2400, 140.0))])
    store.close_labour(labour.id)
    store.close()
    write(service, "sensor", sensor="scalp electrode", action="placed")
    write(service, "cervix", NOW - timedelta(hours=1), dilatation_cm=10)
    found = service._trace("24-0117")
    assert found is not None and found.duration_s == 600.0
    assert found.channels[0].sensor is SensorKind.SCALP_ELECTRODE
    assert found.context.second_stage_start_s == 2 * 3600.0
