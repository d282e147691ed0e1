"""`ebbline replay` and `ebbline live`: a trace as it runs, and who may send one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ebbline.errors import EbblineError

if TYPE_CHECKING:
    from ebbline.live.bed import BedUpdate
    from ebbline.live.sample_store import LiveStore

StorePlace = Annotated[str, typer.Option("--live-store", help="A path or a postgresql:// address.")]

live_app = typer.Typer(no_args_is_help=True, help="Beds that are watched, and their devices.")


def register(app: typer.Typer) -> None:
    """Add the commands of this group."""
    app.command()(replay)
    app.command()(feed)
    app.add_typer(live_app, name="live")


TOLD_S = 600.0
"""How often a recording that is sent says how far it is."""


class ReplayError(EbblineError):
    """A recording cannot be replayed as asked."""


def replay(
    file: Annotated[Path, typer.Argument(help="Recording to replay.")],
    speed: Annotated[
        float, typer.Option(min=0.1, max=100_000, help="Seconds of labour in a second.")
    ] = 60.0,
    notices: Annotated[
        Path | None, typer.Option("--notices", help="A unit's own policy of notices.")
    ] = None,
) -> None:
    """Replay a recording as if it were running now: the four lines and the prompts as they come.

    Needs no server. Prompts to look, never alarms to rely on.
    """
    import time
    from datetime import UTC, datetime

    from ebbline.live.bed import WatchedBed
    from ebbline.live.notice_policy import load_notices
    from ebbline.live.sample_store import Labour, Piece
    from ebbline.recording import open_recording
    from ebbline.recording.channels import tidy

    recording = tidy(open_recording(file), str(file))
    start = recording.start or datetime.now(UTC)
    start = start if start.tzinfo is not None else start.replace(tzinfo=UTC)
    labour = Labour("replay", "Replay", recording.name, start, recording.context)
    bed = WatchedBed(labour, load_notices(notices))
    for channel in recording.channels:
        if not 0.2 <= channel.rate_hz <= 16.0:
            raise ReplayError(
                f"{channel.rate_hz:g} samples a second are not read live (0.2 to 16 are).",
                where=str(file),
                remedy="Convert the recording to 4 samples a second first.",
            )
    pace = bed.reader.pace
    said: dict[int, tuple[str, ...]] = {}
    begun = time.monotonic()
    at_s = sent_s = 0.0
    while at_s < recording.duration_s + pace.settle_s:
        at_s += pace.step_s
        behind = begun + at_s / speed - time.monotonic()
        if behind > 0:
            time.sleep(behind)
        for one in recording.channels:
            first, last = round(sent_s * one.rate_hz), round(at_s * one.rate_hz)
            part = one.samples[first:last]
            if len(part):
                bed.receive(
                    Piece(labour.id, one.kind, one.fetus, one.sensor, one.rate_hz, first, part)
                )
        sent_s = at_s
        update = bed.advance(min(at_s, recording.duration_s) + pace.settle_s)
        if update is not None:
            _say(update, bed.clock.at, said)
    typer.echo("The recording has ended.")


def _say(update: BedUpdate, at: Callable[[float], str], said: dict[int, tuple[str, ...]]) -> None:
    """Prompts at once; the four lines when the class or what is happening has changed."""
    for one in update.raised:
        typer.echo(f"{at(one.at_s)}  LOOK ({one.urgency}): {one.text} Rule: {one.rule}.")
    if not update.full:
        return
    for fetus in update.state["fetuses"]:
        key = (fetus["label"], fetus["now_level"])
        if said.get(fetus["fetus"]) == key:
            continue
        said[fetus["fetus"]] = key
        which = f"  Fetus {fetus['fetus']}" if len(update.state["fetuses"]) > 1 else ""
        typer.echo(f"{at(update.state['at_s'])}{which}")
        for title, text in fetus["lines"]:
            typer.echo(f"  {title + ':':<10} {text}")


def feed(
    file: Annotated[Path, typer.Argument(help="Recording to send.")],
    token: Annotated[str, typer.Option("--token", help="The device's token.")],
    to: Annotated[
        str, typer.Option("--to", help="Address of the workbench.")
    ] = "http://127.0.0.1:8722",
    packet_s: Annotated[
        float, typer.Option("--packet", min=0.25, max=60, help="Length of a packet, s.")
    ] = 1.0,
) -> None:
    """Send a recording to a bed as a device would, from now on in true time.

    A packet that is not acknowledged is sent again until it is.
    """
    import time
    from datetime import UTC, datetime, timedelta

    from ebbline.live.packets import Packet, PacketChannel, to_bytes
    from ebbline.recording import open_recording

    recording = open_recording(file)
    typer.echo(
        f"sending {recording.duration_s / 60:.0f} min of {file.name} to {to}, in true time; "
        "Ctrl-C stops",
        err=True,
    )
    start = datetime.now(UTC)
    begun = time.monotonic()
    at_s = 0.0
    number = 0
    while at_s < recording.duration_s:
        until_s = at_s + packet_s
        time.sleep(max(0.0, begun + until_s - time.monotonic()))
        for rate_hz in {one.rate_hz for one in recording.channels}:
            channels = tuple(
                PacketChannel(one.kind, one.fetus, one.sensor, part)
                for one in recording.channels
                if one.rate_hz == rate_hz
                and len(part := one.samples[round(at_s * rate_hz) : round(until_s * rate_hz)])
            )
            if channels:
                number += 1
                packet = Packet(start + timedelta(seconds=at_s), rate_hz, number, channels)
                _until_kept(to, token, to_bytes(packet))
        if int(until_s // TOLD_S) > int(at_s // TOLD_S):
            typer.echo(f"{until_s / 60:.0f} min sent and kept", err=True)
        at_s = until_s
    typer.echo("All of the recording was sent and kept.")


def _until_kept(address: str, token: str, body: bytes) -> None:
    """Send a packet until it is acknowledged. Raises ReplayError when it is refused."""
    import time
    from urllib.error import HTTPError, URLError
    from urllib.request import Request, urlopen

    request = Request(
        address.rstrip("/") + "/api/live/push",
        body,
        {"authorization": f"Bearer {token}", "content-type": "application/octet-stream"},
    )
    if request.type not in ("http", "https"):
        raise ReplayError("this is no address of a workbench.", where=address)
    for wait_s in (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 30.0):
        try:
            with urlopen(request, timeout=10.0):
                return
        except HTTPError as error:
            if error.code != 503:
                raise ReplayError(
                    f"the packet was refused ({error.code}): {_why(error.read(2000))}",
                    where=address,
                    remedy="Check the token, and that a labour goes on on its bed.",
                ) from error
        except (URLError, TimeoutError, ConnectionError):
            pass
        time.sleep(wait_s)
    raise ReplayError("the workbench does not answer.", where=address, remedy="Is it running?")


def _why(answer: bytes) -> str:
    """What the workbench said, in its words."""
    import json

    said = answer.decode("utf-8", "replace").strip()
    try:
        told = json.loads(said)
    except ValueError:
        return said[:200]
    return str(told.get("what", said)) if isinstance(told, dict) else said[:200]


@live_app.command("beds")
def beds(live_store: StorePlace = "") -> None:
    """List the labours that go on."""
    store = _store(live_store)
    for one in store.labours():
        typer.echo(f"{one.bed}\tcase {one.case_number}\tsince {one.started_at:%Y-%m-%d %H:%M} UTC")


@live_app.command("device")
def device(
    bed: Annotated[str, typer.Argument(help="The bed that it sends for.")],
    name: Annotated[str, typer.Argument(help="What the device is called.")],
    withdraw: Annotated[bool, typer.Option("--withdraw", help="Take its tokens back.")] = False,
    live_store: StorePlace = "",
) -> None:
    """Make a token for a device, shown this once; or withdraw those it has."""
    store = _store(live_store)
    if withdraw:
        typer.echo(f"{store.withdraw_device(bed, name)} tokens withdrawn.")
    else:
        typer.echo(store.add_device(bed, name))


def _store(place: str) -> LiveStore:
    from ebbline.live.sample_store import LiveStore
    from ebbline.web.settings import default_store

    return LiveStore(place or default_store().with_name("live.sqlite"))
