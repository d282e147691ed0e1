"""The live pages, their stream of states, and what they write."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from sse_starlette import EventSourceResponse
from starlette.responses import HTMLResponse

from ebbline.web.live.schemas import DemoIn, DeviceIn, LabourIn, SeenIn, TokenOut
from ebbline.web.live.service import LiveService, bare, brief, in_json
from ebbline.web.pages import NAV, NavItem, page
from ebbline.web.principal import Principal, Role, needs
from ebbline.web.recordings.routes import Who

router = APIRouter()
NAV.append(NavItem("live", "Live", "/live"))


def service_of(request: Request) -> LiveService:
    """The unit of this workbench."""
    found: LiveService = request.app.state.live
    return found


Beds = Annotated[LiveService, Depends(service_of)]
Admin = Annotated[Principal, Depends(needs(Role.ADMIN))]


@router.get("/live", response_class=HTMLResponse, include_in_schema=False)
async def board_page(request: Request, beds: Beds) -> HTMLResponse:
    """All beds, danger first."""
    states = [brief(one) for one in await beds.states()]
    return page(request, "live/board.html", place="live", states=states)


@router.get("/live/{labour}", response_class=HTMLResponse, include_in_schema=False)
async def bed_page(request: Request, labour: str, beds: Beds, who: Who) -> HTMLResponse:
    """One bed live."""
    found = await beds.labour(labour)
    unit = await beds.unit()
    return page(
        request,
        "live/bed.html",
        place="live",
        labour=found,
        state=unit.states.get(labour) or bare(found),
        name=who.name,
        recorded=await asyncio.to_thread(beds.recorded, found),
    )


@router.get("/api/live/beds", tags=["live"])
async def states(beds: Beds) -> list[dict[str, Any]]:
    """The state of every labour that goes on."""
    return await beds.states()


@router.post("/api/live/beds", tags=["live"], status_code=201)
async def begin(given: LabourIn, beds: Beds) -> dict[str, Any]:
    """Begin to watch a labour on a bed: from now on its devices may send."""
    from datetime import UTC, datetime

    from ebbline.recording.model import Context

    unit = await beds.unit()
    start = datetime.now(UTC).replace(microsecond=0)
    context = Context(weeks=given.weeks)
    labour = await asyncio.to_thread(unit.store.open_labour, given.bed, given.case, start, context)
    await unit.take_up(labour)
    return bare(labour)


@router.post("/api/live/beds/{labour}/end", tags=["live"], status_code=204)
async def end(labour: str, beds: Beds) -> None:
    """End the watching of a labour; its samples and notices stay."""
    await beds.end(await beds.labour(labour))


@router.get("/api/live/beds/{labour}/samples", tags=["live"])
async def samples(labour: str, beds: Beds, since_s: float = 0.0) -> list[dict[str, Any]]:
    """The trace from since_s on, by channel."""
    return await beds.samples(await beds.labour(labour), max(0.0, since_s))


@router.post("/api/live/beds/{labour}/notices/{number}/seen", tags=["live"])
async def acknowledge(labour: str, number: int, given: SeenIn, beds: Beds) -> dict[str, Any]:
    """Write down who saw a notice; the first name stays."""
    from ebbline.live.unit import notice_data

    return notice_data(await beds.acknowledge(labour, number, given.by))


@router.post("/api/live/demo", tags=["live"], status_code=201)
async def demo(given: DemoIn, beds: Beds) -> list[dict[str, Any]]:
    """Begin invented labours, replayed at a speed: for looking at, never for a real bed."""
    return [bare(one) for one in await beds.demo(given.beds, given.speed)]


@router.post("/api/live/devices", tags=["live"], status_code=201)
async def add_device(given: DeviceIn, beds: Beds, _: Admin) -> TokenOut:
    """A token for a device that sends for a bed; it is shown this once."""
    unit = await beds.unit()
    return TokenOut(token=await asyncio.to_thread(unit.store.add_device, given.bed, given.name))


@router.get("/api/live/events", include_in_schema=False)
async def events(request: Request, beds: Beds, labour: str = "") -> EventSourceResponse:
    """States as they come, of one labour or of all (server-sent events)."""
    unit = await beds.unit()

    async def told() -> AsyncIterator[dict[str, str]]:
        async with unit.listening(labour) as queue:
            for state in list(unit.states.values()):
                if labour in ("", state["labour"]):
                    yield {"event": "state", "data": in_json(state if labour else brief(state))}
            while not await request.is_disconnected():
                try:
                    message = await asyncio.wait_for(queue.get(), 15.0)
                except TimeoutError:
                    yield {"event": "alive", "data": ""}
                    continue
                data = message if labour else brief(message)
                yield {"event": message["type"], "data": in_json(data)}

    return EventSourceResponse(told(), ping=20)
