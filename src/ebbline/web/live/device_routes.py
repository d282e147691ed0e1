"""Where devices send: one token each, no session, no cookie.

`POST /api/live/push` takes a packet as JSON (`application/json`) or in the binary form
(`application/octet-stream`); `/api/live/stream` is a WebSocket that takes either kind of message
and answers each. A packet is acknowledged when its samples are on disk, and not before.
"""

from __future__ import annotations

import contextlib
from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Request, WebSocket
from starlette.requests import HTTPConnection
from starlette.websockets import WebSocketDisconnect

from ebbline.errors import EbblineError
from ebbline.web.live.service import LiveService

router = APIRouter()

BINARY = "application/octet-stream"


def service_of(connection: HTTPConnection) -> LiveService:
    """The unit of this workbench."""
    found: LiveService = connection.app.state.live
    return found


Beds = Annotated[LiveService, Depends(service_of)]


@router.post("/api/live/push", tags=["live devices"], status_code=200)
async def push(request: Request, beds: Beds) -> dict[str, bool]:
    """A packet of samples; answered when it is on disk.

    401 without a valid token, 409 when no labour goes on on the device's bed, 422 for a packet
    that cannot be read, 503 when the disk is behind (send again).
    """
    from ebbline.live.packets import from_bytes, from_json
    from ebbline.live.unit import BusyError

    labour = await _labour(beds, request)
    body = await request.body()
    binary = request.headers.get("content-type", "").startswith(BINARY)
    packet = from_bytes(body) if binary else from_json(body)
    try:
        await (await beds.unit()).submit(labour, packet)
    except BusyError as error:
        raise HTTPException(503, str(error), {"retry-after": "1"}) from error
    return {"kept": True}


@router.websocket("/api/live/stream")
async def stream(socket: WebSocket, beds: Beds) -> None:
    """Packets, one a message; each is answered {"kept": true} or {"kept": false, "what": ...}."""
    from ebbline.live.packets import from_bytes, from_json
    from ebbline.live.unit import BusyError

    try:
        labour = await _labour(beds, socket)
    except HTTPException as error:
        await socket.close(4401 if error.status_code == 401 else 4409, str(error.detail))
        return
    await socket.accept()
    unit = await beds.unit()
    with contextlib.suppress(WebSocketDisconnect):
        while True:
            message = await socket.receive()
            if message["type"] == "websocket.disconnect":
                return
            try:
                data = message.get("bytes")
                packet = from_bytes(data) if data is not None else from_json(message["text"])
                await unit.submit(labour, packet)
            except (EbblineError, BusyError) as error:
                await socket.send_json({"kept": False, "what": str(error)})
            else:
                await socket.send_json({"kept": True, "sequence": packet.sequence})


async def _labour(beds: LiveService, connection: HTTPConnection) -> str:
    """The labour on the bed for which the connection's token may send."""
    import asyncio

    said = connection.headers.get("authorization", "")
    token = said[7:].strip() if said.lower().startswith("bearer ") else ""
    unit = await beds.unit()
    bed = unit.known_device(token) if token else None
    if token and bed is None:
        bed = await asyncio.to_thread(unit.store.bed_of, token)
    if bed is None:
        raise HTTPException(401, "a device must send its token (authorization: bearer ...).")
    unit.remember_device(token, bed)
    labour = unit.labour_on(bed)
    if labour is None:
        raise HTTPException(409, f"no labour goes on on {bed}.")
    return labour.id
