"""HL7 v2 over MLLP: each message is acknowledged when its samples are on disk, and not before.

AA: kept. AE: it cannot be read, or could not be kept; the text says why, and nothing of it was
acknowledged. AR: the device's token is not known. The framing is the hl7 library's.
"""

from __future__ import annotations

import asyncio
import contextlib
import re
from datetime import UTC, datetime
from typing import Any

from hl7.mllp import HL7StreamReader, HL7StreamWriter, InvalidBlockError, start_hl7_server

from ebbline.errors import EbblineError
from ebbline.live.hl7_messages import read_message
from ebbline.live.unit import BusyError, Unit

MOST_BYTES = 256 * 1024
"""Of one message."""

MOST_CONNECTIONS = 200
SILENT_S = 300.0
"""A connection that sends nothing for so long is closed."""


class Listener:
    """What listens; `port` says where."""

    def __init__(self, server: asyncio.Server) -> None:
        self._server = server

    @property
    def port(self) -> int:
        """The port, also where a free one was taken."""
        return int(self._server.sockets[0].getsockname()[1])

    def close(self) -> None:
        """Take no more connections."""
        self._server.close()


async def serve_mllp(unit: Unit, host: str, port: int) -> Listener:
    """Listen for devices. Raises EbblineError when that address cannot be listened on."""
    open_connections = 0

    async def connected(reader: HL7StreamReader, writer: HL7StreamWriter) -> None:
        nonlocal open_connections
        if open_connections >= MOST_CONNECTIONS:
            writer.close()
            return
        open_connections += 1
        try:
            # A broken frame, a silent or a lost connection: the sender connects again.
            with contextlib.suppress(
                InvalidBlockError,
                TimeoutError,
                asyncio.IncompleteReadError,
                asyncio.LimitOverrunError,
                ConnectionError,
                ValueError,
            ):
                while True:
                    frame = await asyncio.wait_for(reader.readblock(), SILENT_S)
                    answer = await _answer(unit, frame.decode("utf-8", "replace"))
                    writer.writeblock(answer.encode())
                    await writer.drain()
        finally:
            open_connections -= 1
            writer.close()

    try:
        server = await start_hl7_server(connected, host=host, port=port, limit=MOST_BYTES)
    except OSError as error:
        raise EbblineError(
            f"cannot listen for HL7 there: {error.strerror}.",
            where=f"{host} port {port}",
            remedy="Choose another --mllp port, or end what listens there.",
        ) from error
    return Listener(server)


async def _answer(unit: Unit, text: str) -> str:
    try:
        received = read_message(text)
    except EbblineError as error:
        return acknowledgement("AE", _control(text), str(error))
    bed = unit.known_device(received.token)
    if bed is None:
        bed = await asyncio.to_thread(unit.store.bed_of, received.token)
    if bed is None:
        return acknowledgement("AR", received.control, "the token in MSH-8 is not known")
    unit.remember_device(received.token, bed)
    labour = unit.labour_on(bed)
    if labour is None:
        return acknowledgement("AE", received.control, f"no labour goes on on {bed}")
    try:
        for packet in received.packets:
            await unit.submit(labour.id, packet)
    except (EbblineError, BusyError) as error:
        return acknowledgement("AE", received.control, str(error))
    except Exception:
        return acknowledgement("AE", received.control, "it could not be kept; send it again")
    return acknowledgement("AA", received.control)


def acknowledgement(code: str, control: str, words: str = "") -> str:
    """An ACK message: MSA-1 the code, MSA-2 the message it answers, MSA-3 why."""
    now = datetime.now(UTC).strftime("%Y%m%d%H%M%S+0000")
    said = re.sub(r"[|^~\\&\r\n]", " ", words)
    header = f"MSH|^~\\&|EBBLINE||||{now}||ACK^R01^ACK|{control}|P|2.6"
    return f"{header}\rMSA|{code}|{control}|{said}\r"


def _control(text: str) -> str:
    fields: list[Any] = text.split("\r", 1)[0].split("|")
    return str(fields[9])[:60] if len(fields) > 9 else ""
