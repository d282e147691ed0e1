"""Reviews that the labour record says are overdue come to the live page as prompts."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from ebbline.live.sample_store import Labour
from ebbline.recording.model import Context
from ebbline.web.app import create_app
from ebbline.web.live.service import LiveService
from ebbline.web.record.service import Records
from ebbline.web.settings import Settings

NOW = datetime(2030, 5, 1, 22, 0, tzinfo=UTC)


def test_a_review_that_the_record_says_is_overdue_is_told(tmp_path: Path) -> None:
    settings = Settings(store=tmp_path / "w.sqlite")
    library = create_app(settings).state.library
    clock = [NOW - timedelta(hours=3)]
    records = Records(tmp_path / "record.sqlite", library, now=lambda: clock[0])
    records.journal.open_case("24-0117", "4", author="Kim")
    clock[0] = NOW
    service = LiveService(settings, records)
    labour = Labour("x", "Bed 4", "24-0117", NOW - timedelta(hours=3), Context())
    overdue = service._overdue(labour)
    assert overdue and all(at < NOW for _, at in overdue)
    other = Labour("y", "Bed 5", "24-0999", NOW, Context())
    assert service._overdue(other) == (), "a labour without a record has no reviews to be due"
    records.close()
