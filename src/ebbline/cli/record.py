"""`ebbline record`: the labour record on the command line."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ebbline.cli.output import Force, Outputs
from ebbline.journal.errors import JournalError
from ebbline.terms import counted

if TYPE_CHECKING:
    from ebbline.journal.chain import Entry
    from ebbline.journal.store import Journal
    from ebbline.reading.model import Reading
    from ebbline.recording.model import Recording

Place = Annotated[
    str | None,
    typer.Option(
        "--place",
        envvar="EBBLINE_RECORD",
        help="The record's file, or postgresql://... [default: in your own data directory]",
    ),
]
CaseWord = Annotated[str, typer.Argument(help="The case number; never a name.")]
Author = Annotated[str, typer.Option("--by", help="Who writes.")]
At = Annotated[
    str | None,
    typer.Option("--at", help="When it happened: 14:32 (today) or 2025-03-01T14:32. [now]"),
]
RecordingFile = Annotated[
    Path | None, typer.Option("--recording", help="The recording of this labour.")
]

record_app = typer.Typer(
    no_args_is_help=True, help="The labour record: entries, chart, handover, archive, verify."
)


def register(app: typer.Typer) -> None:
    """Add the commands of this group."""
    app.add_typer(record_app, name="record")


@record_app.command("open")
def open_case(
    case: CaseWord,
    bed: Annotated[str, typer.Option(help="The bed she lies in.")],
    by: Author,
    at: At = None,
    place: Place = None,
) -> None:
    """Open a case: a bed and a case number.

    Example: ebbline record open 24-0117 --bed 4 --by Kim
    """
    journal = _journal(place)
    first = journal.open_case(case, bed, author=by, at=_moment(at))
    typer.echo(f"opened case {first.case}, bed {bed}")


@record_app.command("list")
def list_cases(
    closed: Annotated[bool, typer.Option("--closed", help="Those that were closed too.")] = False,
    place: Place = None,
) -> None:
    """The cases on the board, by bed."""
    cards = _journal(place).cases(closed=closed)
    for one in cards:
        shut = "  closed" if one.closed else ""
        typer.echo(
            f"bed {one.bed:<6} case {one.case:<14} {one.entries:>4} entries, last "
            f"{_local(one.last_at)}{shut}"
        )
    if not cards:
        typer.echo("no case is open")


@record_app.command("kinds")
def kinds(
    kind: Annotated[str | None, typer.Argument(help="One kind, for its fields.")] = None,
) -> None:
    """The kinds of entry, or the fields of one."""
    from ebbline.journal.entries import KINDS, asks, kind_of

    if kind is None:
        for name, body in KINDS.items():
            typer.echo(f"{name:<14} {body.title}")
        return
    for name, ask in asks(kind_of(kind)).items():
        more = ", ".join(ask.choices) or (
            f"{ask.low:g} to {ask.high:g} {ask.unit}" if ask.high < float("inf") else ask.sort.value
        )
        typer.echo(f"{name:<20} {ask.label}{' (needed)' if ask.required else ''}: {more}")


@record_app.command("add")
def add(
    case: CaseWord,
    kind: Annotated[str, typer.Argument(help="Kind of entry; `record kinds` lists them.")],
    said: Annotated[list[str], typer.Argument(metavar="FIELD=VALUE...", help="What it says.")],
    by: Author,
    at: At = None,
    corrects: Annotated[
        int | None, typer.Option("--corrects", help="Number of the entry it takes the place of.")
    ] = None,
    place: Place = None,
) -> None:
    """Add one entry; it is on disk when the command answers.

    Example: ebbline record add 24-0117 cervix dilatation_cm=6 station_cm=-1 --by Kim
    """
    from datetime import UTC

    from ebbline.journal.chain import Draft, case_number
    from ebbline.journal.entries import body_from

    fields: dict[str, str] = {}
    for one in said:
        name, sign, value = one.partition("=")
        if not sign or not name.strip():
            raise JournalError(f"'{one}' is not FIELD=VALUE.", remedy="Write dilatation_cm=6.")
        if name.strip() in fields:
            raise JournalError(f"'{name.strip()}' stands here twice.", remedy="Keep one.")
        fields[name.strip()] = value
    draft = Draft(
        body_from(kind, fields), _moment(at) or datetime.now(UTC).astimezone(), by, corrects
    )
    entry = _journal(place).append(case_number(case), draft)
    typer.echo(f"entry {entry.number}: {entry.words}")


@record_app.command("show")
def show(case: CaseWord, place: Place = None) -> None:
    """The entries of a case as they were written; what no longer holds is marked."""
    from ebbline.journal.chain import case_number

    entries = _journal(place).entries(case_number(case))
    gone = {one.corrects: one.number for one in entries if one.corrects is not None}
    for one in entries:
        mark = f"  [corrected by {gone[one.number]}]" if one.number in gone else ""
        if one.corrects is not None:
            mark += f"  [corrects {one.corrects}]"
        if one.late:
            mark += f"  [written {_local(one.written_at)}]"
        typer.echo(
            f"{one.number:>4} {_local(one.at)} {one.body.title}: {one.words} ({one.author}){mark}"
        )


@record_app.command("chart")
def chart_of(
    case: CaseWord,
    out: Annotated[
        Path | None, typer.Option("--out", help="Write the chart: .pdf, .svg or .png.")
    ] = None,
    force: Force = False,
    recording: RecordingFile = None,
    place: Place = None,
) -> None:
    """The chart of progress: what asks to be looked at, and the sheets."""
    from ebbline.journal.chain import case_number
    from ebbline.journal.chart import chart
    from ebbline.journal.chart_sheet import chart_sheets
    from ebbline.journal.entries import Bed
    from ebbline.journal.standing import last_of, standing
    from ebbline.journal.trace_columns import columns_of

    outputs = Outputs(force=force, read=_files(recording))
    outputs.announce(out)
    entries = _journal(place).entries(case_number(case))
    now = datetime.now().astimezone()
    _, reading = _read(recording)
    seen = chart(entries, now, trace=columns_of(reading) if reading else ())
    for one in seen.alerts:
        typer.echo(f"LOOK: {one.what}, since {_local(one.since)} ({one.rule}; {one.source})")
    if not seen.alerts:
        typer.echo("nothing that was written asks to be looked at")
    if seen.empty:
        typer.echo(f"never written: {', '.join(seen.empty).lower()}")
    if out is not None:
        bed = last_of(standing(entries), Bed)
        sheets = chart_sheets(seen, entries[0].case, bed[1].bed if bed else "", now)
        typer.echo("wrote " + ", ".join(map(str, outputs.picture(sheets, out))))


@record_app.command("handover")
def handover_of(
    case: CaseWord,
    out: Annotated[Path | None, typer.Option("--out", help="Write the sheet as .pdf.")] = None,
    force: Force = False,
    by: Annotated[str, typer.Option("--by", help="Who hands over.")] = "",
    to: Annotated[
        str, typer.Option("--to", help="To whom; with it the handover is written to the record.")
    ] = "",
    recording: RecordingFile = None,
    place: Place = None,
) -> None:
    """The handover, filled from the record and the reading; with --to it is given.

    Example: ebbline record handover 24-0117 --by Kim --to Noor --out handover.pdf
    """
    from ebbline.journal.chain import Draft, author_name, case_number
    from ebbline.journal.entries import HandoverGiven, body_from
    from ebbline.journal.handover import handover
    from ebbline.journal.handover_sheet import PARTS, HandoverHead, handover_sheet

    outputs = Outputs(force=force, read=_files(recording))
    outputs.announce(out)
    journal = _journal(place)
    entries = journal.entries(case_number(case))
    now = datetime.now().astimezone()
    _, reading = _read(recording)
    made = handover(entries, now, reading=reading)
    texts = made.parts()
    last = entries[-1]
    if to:
        body = body_from("handover", {"to": to, **texts})
        last = journal.append(entries[0].case, Draft(body, now, author_name(by)))
    typer.echo(f"HANDOVER  bed {made.bed}  case {made.case}  {now:%d %b %Y %H:%M}")
    for name, title in PARTS:
        typer.echo(f"\n{title}")
        for line in texts[name].splitlines():
            typer.echo(f"  {line}")
    if out is not None:
        given = HandoverGiven(to=to, **texts)
        head = HandoverHead(
            made.case, made.bed, now, by or "not named", last.number, last.hash, not to
        )
        files = outputs.picture(handover_sheet(given, head), out)
        typer.echo("\nwrote " + ", ".join(map(str, files)))


@record_app.command("verify")
def verify(
    case: Annotated[str | None, typer.Argument(help="One case; all when left out.")] = None,
    head: Annotated[
        str | None,
        typer.Option("--head", help="Hash printed on a handover: is that entry still there?"),
    ] = None,
    place: Place = None,
) -> None:
    """Walk the hash chains; ends with code 1 where a link does not hold.

    Example: ebbline record verify 24-0117 --head 3f9c0a1b2c4d5e6f
    """
    from ebbline.journal.chain import case_number

    journal = _journal(place)
    number = None if case is None else case_number(case)
    if head is not None and number is None:
        raise JournalError("a hash belongs to one case.", where="--head", remedy="Name the case.")
    found = journal.verify(number)
    for one in found.breaks:
        typer.echo(f"BROKEN  {one}", err=True)
    if head is not None and number is not None and found.holds:
        if len(head) < 8:
            raise JournalError("the hash is too short to tell.", where="--head")
        match = [e for e in journal.entries(number) if e.hash.startswith(head.lower())]
        if not match:
            typer.echo(f"BROKEN  case {number}: no entry has the hash {head}", err=True)
            raise typer.Exit(1)
        typer.echo(f"entry {match[0].number} of {_local(match[0].at)} has this hash")
    if not found.holds:
        raise typer.Exit(1)
    typer.echo(f"the chain holds: {found.cases} cases, {found.entries} entries, {journal.place}")


@record_app.command("export")
def export_case(
    case: CaseWord,
    out: Annotated[Path, typer.Argument(help="The archive to write, .zip.")],
    recording: RecordingFile = None,
    live_store: Annotated[
        str,
        typer.Option(help="Live store to take the trace from, its file or postgresql://..."),
    ] = "",
    recording_format: Annotated[
        str, typer.Option("--format", help="Of the recording in it: wfdb or edf.")
    ] = "wfdb",
    force: Force = False,
    place: Place = None,
) -> None:
    """Write a whole case as one archive: entries, recording, reading, sheets, FHIR R4.

    Example: ebbline record export 24-0117 case.zip --recording labour.edf
    """
    from ebbline.journal.archive import pack
    from ebbline.journal.chain import case_number

    outputs = Outputs(force=force, read=_files(recording))
    outputs.announce(out)
    entries = _journal(place).entries(case_number(case))
    found, reading = _read(recording)
    if live_store:
        if recording is not None:
            raise JournalError(
                "two traces are named.", remedy="Give --recording or --live-store, not both."
            )
        found, reading = _watched(live_store, entries)
    data = pack(entries, recording=found, reading=reading, recording_format=recording_format)
    outputs.bytes(out, data)
    typer.echo(f"wrote {out}: {counted(len(entries), 'entry', 'entries')}, {len(data)} bytes")


@record_app.command("import")
def import_case(
    source: Annotated[Path, typer.Argument(help="An archive made by an export.")],
    recording: Annotated[
        Path | None,
        typer.Option("--recording", help="Write its recording here; the suffix says how."),
    ] = None,
    force: Force = False,
    place: Place = None,
) -> None:
    """Take a case from an archive into this record, entry for entry with its hashes."""
    from ebbline.journal.archive import MOST_BYTES, unpack
    from ebbline.recording.files import read_bytes
    from ebbline.recording.registry import check_writable

    outputs = Outputs(force=force, read=[source])
    outputs.announce(recording)
    found = unpack(read_bytes(source, MOST_BYTES), str(source))
    if recording is not None:
        if found.recording is None:
            raise JournalError("no recording stands in it.", where=str(source))
        check_writable(recording)
    _journal(place).restore(found.entries)
    typer.echo(
        f"case {found.entries[0].case}: {counted(len(found.entries), 'entry', 'entries')} taken in"
    )
    if recording is not None and found.recording is not None:
        saved = outputs.recording(found.recording, recording)
        typer.echo("wrote " + ", ".join(map(str, saved.files)))
        for loss in saved.losses:
            typer.echo(f"  {loss}")


@record_app.command("backup")
def backup(
    target: Annotated[Path, typer.Argument(help="File to write the copy to.")],
    force: Force = False,
    place: Place = None,
) -> None:
    """Copy the record, whole and consistent, while it may be in use.

    A record in PostgreSQL is copied with pg_dump.
    """
    from ebbline.journal.database import default_place

    where = place or str(default_place())
    if "://" in where:
        raise JournalError(
            "this record lies in PostgreSQL.", where="backup", remedy="Copy it with pg_dump."
        )
    path = Path(where)
    if not path.exists():
        raise JournalError("there is no record.", where=where, remedy="Name it with --place.")
    beside = [path.with_name(path.name + ending) for ending in ("", "-wal", "-shm")]
    Outputs(force=force, read=beside).announce(target)
    journal = _journal(where)
    found = journal.verify()
    if not found.holds:
        typer.echo(f"The chain does not hold ({found.breaks[0]}); it is copied as it is.", err=True)
    journal.store.backup(target)
    typer.echo(f"Copied {path} to {target}: {found.cases} cases, {found.entries} entries.")


def _journal(place: str | None) -> Journal:
    from ebbline.journal.database import default_place
    from ebbline.journal.store import Journal

    return Journal(place or default_place())


def _read(path: Path | None) -> tuple[Recording | None, Reading | None]:
    if path is None:
        return None, None
    from ebbline.reading.analyse import read
    from ebbline.recording import open_recording

    recording = open_recording(path)
    return recording, read(recording)


def _watched(place: str, entries: tuple[Entry, ...]) -> tuple[Recording, Reading]:
    """The trace of a case out of the live store, with what its record says, and its reading."""
    from datetime import UTC

    from ebbline.journal.labour_context import labour_context, sensors_in_place
    from ebbline.live.case_trace import as_known, latest_of_case
    from ebbline.live.sample_store import LiveStore
    from ebbline.reading.analyse import read

    if "://" not in place and not Path(place).is_file():
        # Opening it would make an empty one.
        raise JournalError("there is no live store.", where=place, remedy="Name its file.")
    store = LiveStore(place)
    try:
        case = entries[0].case
        labour = latest_of_case(store, case)
        recording = None if labour is None else store.recording(labour)
    finally:
        store.close()
    if labour is None or recording is None or not recording.fetuses:
        raise JournalError(
            "the live store holds no trace of this case.",
            where=f"case {case}",
            remedy="Leave --live-store out, or check the case number.",
        )
    now = datetime.now(UTC)
    context = labour_context(entries, labour.started_at, now, labour.context)
    recording = as_known(recording, context, sensors_in_place(entries, now))
    return recording, read(recording)


def _files(recording: Path | None) -> tuple[Path, ...]:
    if recording is None:
        return ()
    from ebbline.recording import files_read

    return files_read(recording)


def _moment(said: str | None) -> datetime | None:
    """A time as it is typed: of today in this computer's zone, unless it says more."""
    if said is None:
        return None
    plain = said.removeprefix("@")
    now = datetime.now().astimezone()
    try:
        if "T" in plain or " " in plain.strip():
            found = datetime.fromisoformat(plain.strip())
        else:
            found = datetime.combine(now.date(), datetime.strptime(plain, "%H:%M").time())
    except ValueError:
        raise JournalError(
            f"'{said}' is not a time.", where="--at", remedy="Write 14:32 or 2025-03-01T14:32."
        ) from None
    return found.astimezone() if found.tzinfo is None else found


def _local(at: datetime) -> str:
    return f"{at.astimezone():%d %b %H:%M}"
