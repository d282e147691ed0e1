"""What a unit must not lose, on SQLite and on PostgreSQL."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from sqlalchemy import text

from ebbline.codec import to_json
from ebbline.live.bed_reader import BedReader
from ebbline.live.sample_store import (
    LEASE_S,
    Labour,
    LiveStore,
    LiveStoreError,
    Notice,
    NotOwnerError,
    Piece,
)
from ebbline.recording.model import ChannelKind, Context
from ebbline.synth import Scenario, invent
from ebbline.terms import SensorKind

START = datetime(2030, 5, 1, 22, 0, 5, tzinfo=UTC)


def piece(labour: Labour, first: int, samples: list[float] | np.ndarray) -> Piece:
    return Piece(
        labour.id,
        ChannelKind.FETAL_HEART_RATE,
        1,
        SensorKind.ULTRASOUND,
        4.0,
        first,
        np.asarray(samples, np.float64),
    )


def notice(labour: Labour, at_s: float, grade: str = "2 min") -> Notice:
    return Notice(labour.id, "prolonged-fall", grade, at_s - 120, at_s, "soon", "seen", "rule")


def test_samples_come_back_as_they_were_sent_packed_or_not(store: LiveStore) -> None:
    labour = store.open_labour("Bed 1", "C-1", START, Context(weeks=39.0, parity=1))
    rng = np.random.default_rng(2)
    sent = 140.0 + rng.normal(0, 5, 4 * 1500)
    sent[rng.random(len(sent)) < 0.1] = np.nan
    places = list(range(0, len(sent), 40))
    rng.shuffle(places)
    store.append([piece(labour, at, sent[at : at + 40]) for at in places])
    before = store.recording(labour)
    assert store.pack(labour.id, 1200.0) == 120
    after = store.recording(labour)
    np.testing.assert_array_equal(before.channels[0].samples, sent)
    np.testing.assert_array_equal(after.channels[0].samples[: len(sent)], sent)
    assert after.context == Context(weeks=39.0, parity=1) and after.start == START


def test_the_first_value_stays_and_a_late_one_fills_a_gap_after_packing(store: LiveStore) -> None:
    labour = store.open_labour("Bed 1", "C-1", START)
    store.append([piece(labour, 0, np.r_[np.full(40, 140.0), np.full(40, np.nan)])])
    store.append([piece(labour, 0, np.full(40, 90.0))])
    store.pack(labour.id, 600.0)
    store.append([piece(labour, 20, np.full(40, 150.0))])
    store.pack(labour.id, 600.0)
    samples = store.recording(labour).channels[0].samples
    np.testing.assert_array_equal(samples[:60], np.r_[np.full(40, 140.0), np.full(20, 150.0)])


@pytest.mark.parametrize("table", ["live_packet", "live_chunk"])
def test_damaged_samples_are_an_error_and_never_a_guess(store: LiveStore, table: str) -> None:
    labour = store.open_labour("Bed 1", "C-1", START)
    store.append([piece(labour, 0, np.full(2400, 140.0))])
    if table == "live_chunk":
        store.pack(labour.id, 600.0)
    with store.engine.begin() as connection:
        bad = {"d": np.full(2400, 141.0).tobytes()}
        connection.execute(text(f"UPDATE {table} SET data = :d"), bad)
    with pytest.raises(LiveStoreError, match="checksum"):
        store.recording(labour)


def test_a_bed_has_one_labour_at_a_time(store: LiveStore) -> None:
    labour = store.open_labour("Bed 1", "C-1", START)
    with pytest.raises(LiveStoreError, match="C-1"):
        store.open_labour("Bed  1", "C-2", START)
    store.close_labour(labour.id)
    assert store.open_labour("Bed 1", "C-2", START).case_number == "C-2"


def test_a_labour_moves_when_its_process_dies_and_the_dead_one_writes_no_more(
    store: LiveStore,
) -> None:
    store.open_labour("Bed 1", "C-1", START)
    (first,) = store.claim("one", 10, now=1000.0)
    assert store.claim("two", 10, now=1000.0 + LEASE_S - 1) == ()
    (second,) = store.claim("two", 10, now=1000.0 + LEASE_S + 1)
    assert second.epoch == first.epoch + 1
    with pytest.raises(NotOwnerError):
        store.record(first, [notice(first, 300.0)], {})
    with pytest.raises(NotOwnerError):
        store.save_checkpoint(first, BedReader("x").checkpoint())
    assert store.notices(first.id) == ()
    assert store.claim("one", 10, now=1000.0 + LEASE_S + 2) == ()


def test_processes_that_start_together_share_the_labours(store: LiveStore) -> None:
    for number in range(6):
        store.open_labour(f"Bed {number}", f"C-{number}", START)
    one = store.claim("one", 10, at_once=3, now=0.0)
    two = store.claim("two", 10, at_once=3, now=0.0)
    assert len(one) == len(two) == 3 and not {x.id for x in one} & {x.id for x in two}


def test_a_notice_is_kept_once_and_the_first_name_stays(store: LiveStore) -> None:
    store.open_labour("Bed 1", "C-1", START)
    (labour,) = store.claim("one", 10)
    (kept,) = store.record(labour, [notice(labour, 300.0)], {"rank": 1})
    (again,) = store.record(labour, [notice(labour, 300.0)], {"rank": 2})
    assert kept.id == again.id and len(store.notices(labour.id)) == 1
    assert store.watch(labour.id) == {"rank": 2}
    store.escalate([kept.id])
    assert store.acknowledge(kept.id, "Kim").acknowledged_by == "Kim"
    late = store.acknowledge(kept.id, "Lee")
    assert late.acknowledged_by == "Kim" and late.escalated_at is not None
    with pytest.raises(LiveStoreError):
        store.acknowledge(99, "Kim")


def test_a_checkpoint_comes_back_whole(store: LiveStore) -> None:
    recording = invent(Scenario(hours=1.5, variable_share=0.4), 8).recording
    reader = BedReader("x")
    for c in recording.channels:
        reader.receive(c.kind, c.fetus, c.sensor, c.rate_hz, 0, c.samples)
    reader.advance(5402.0)
    store.open_labour("Bed 1", "C-1", START)
    (labour,) = store.claim("one", 1)
    store.save_checkpoint(labour, reader.checkpoint())
    back, was = store.checkpoint(labour.id), reader.checkpoint()
    assert back is not None and back.final_s == was.final_s > 0 and back.at_s == was.at_s
    # A lag that is NaN is not equal to itself; as JSON it is.
    assert to_json(back.final[0].fetal) == to_json(was.final[0].fetal)
    np.testing.assert_array_equal(
        back.final[0].fetal.rate_curve.values, was.final[0].fetal.rate_curve.values
    )


def test_a_device_may_send_for_its_bed_until_its_token_is_withdrawn(store: LiveStore) -> None:
    token = store.add_device("Bed 1", "trolley 4")
    assert store.bed_of(token) == "Bed 1" and store.bed_of("guess") is None
    assert store.withdraw_device("Bed 1", "trolley 4") == 1
    assert store.bed_of(token) is None
