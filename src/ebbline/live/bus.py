"""What the processes of a unit tell each other, through NATS with JetStream.

Samples go through a stream that holds the last minutes, so that a process which was away for a
moment misses none of them; what it misses beyond that it reads from the store, which has all that
was acknowledged. States of beds are told as they come, for the pages that another process serves.
"""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable
from typing import Any

import numpy as np

from ebbline.errors import EbblineError
from ebbline.live.packets import KINDS, SENSORS
from ebbline.live.sample_store import Piece

SAMPLES = "ebbline.samples"
STATES = "ebbline.states"
STREAM = "EBBLINE_SAMPLES"
HELD_S = 300.0
"""How long the stream holds samples."""

HELD_BYTES = 256 * 1024 * 1024
OUT_S = 2.0
"""How long a publication may take before it is given up: the store has the samples."""


class Bus:
    """The connection of one process. Without it, `connected` is False and nothing is told."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.failed = 0
        self._client: Any = None
        self._stream: Any = None

    @property
    def connected(self) -> bool:
        """Whether the other processes can be told now."""
        return self._client is not None and bool(self._client.is_connected)

    async def open(
        self,
        on_piece: Callable[[Piece], Awaitable[None]],
        on_state: Callable[[dict[str, Any]], Awaitable[None]],
    ) -> None:
        """Connect and listen. Raises EbblineError when there is no server there."""
        import nats
        from nats.errors import Error
        from nats.js.api import DeliverPolicy, StorageType, StreamConfig

        try:
            self._client = await nats.connect(
                self.address, max_reconnect_attempts=-1, connect_timeout=3, allow_reconnect=True
            )
            self._stream = self._client.jetstream(timeout=OUT_S)
            await self._stream.add_stream(
                StreamConfig(
                    name=STREAM,
                    subjects=[f"{SAMPLES}.*"],
                    max_age=HELD_S,
                    max_bytes=HELD_BYTES,
                    storage=StorageType.MEMORY,
                )
            )
        except (OSError, Error) as error:
            raise EbblineError(
                f"there is no NATS server with JetStream: {error}.",
                where=self.address,
                remedy="Start one (nats-server -js -a 127.0.0.1), or leave --nats out.",
            ) from error

        async def piece(message: Any) -> None:
            await on_piece(decoded(message.data))

        async def state(message: Any) -> None:
            await on_state(json.loads(message.data))

        await self._stream.subscribe(
            f"{SAMPLES}.*", cb=piece, ordered_consumer=True, deliver_policy=DeliverPolicy.NEW
        )
        await self._client.subscribe(f"{STATES}.*", cb=state)

    async def tell_piece(self, piece: Piece) -> None:
        """Tell of samples that are on disk; a failure is counted, the store has them."""
        try:
            await self._stream.publish(f"{SAMPLES}.{piece.labour}", encoded(piece))
        except Exception:
            # Whatever the connection says: receivers read the store for what they were not told.
            self.failed += 1

    async def tell_state(self, state: dict[str, Any]) -> None:
        """Tell of a bed's state; the next one replaces one that is lost."""
        try:
            await self._client.publish(f"{STATES}.{state['labour']}", json.dumps(state).encode())
        except Exception:
            self.failed += 1

    async def close(self) -> None:
        """Leave."""
        if self._client is not None:
            await self._client.close()


def encoded(piece: Piece) -> bytes:
    """A piece as bytes: a line of JSON, then the samples."""
    head = [
        piece.labour,
        KINDS.index(piece.kind),
        piece.fetus,
        SENSORS.index(piece.sensor),
        piece.rate_hz,
        piece.first,
    ]
    return json.dumps(head).encode() + b"\n" + np.asarray(piece.samples, "<f8").tobytes()


def decoded(data: bytes) -> Piece:
    """The piece that `encoded` came from."""
    head, samples = data.split(b"\n", 1)
    labour, kind, fetus, sensor, rate_hz, first = json.loads(head)
    return Piece(
        labour, KINDS[kind], fetus, SENSORS[sensor], rate_hz, first, np.frombuffer(samples, "<f8")
    )
