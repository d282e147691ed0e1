"""`ebbline backup`, `verify`, `doctor`: for whoever runs the workbench."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ebbline.cli.output import Force, Outputs
from ebbline.cli.serve import StorePath
from ebbline.terms import counted

if TYPE_CHECKING:
    from ebbline.store import Layout

STAMP = "%Y%m%dT%H%M%SZ"


def register(app: typer.Typer) -> None:
    """Add the commands of this group."""
    app.command()(backup)
    app.command()(verify)
    app.command()(doctor)


def backup(
    target: Annotated[
        Path,
        typer.Argument(help="File to write the copy to; or a directory, for dated copies of all."),
    ],
    store: StorePath = None,
    keep: Annotated[
        int, typer.Option(min=1, help="In a directory: how many sets of copies are kept.")
    ] = 14,
    force: Force = False,
) -> None:
    """Copy the workbench's store, whole and consistent, while it may be in use; verify the copy.

    Into a directory go dated copies of everything that lies beside the store (the labour record,
    live samples), and sets older than the last --keep are removed once the new one is verified.

    Example: ebbline backup /var/backups/ebbline --keep 30
    """
    from ebbline.store import StoreError
    from ebbline.web.settings import default_store

    path = store or default_store()
    if not path.exists():
        raise StoreError("there is no store.", where=str(path), remedy="Give it with --store.")
    if target.is_dir():
        _dated(path, target, keep)
        return
    Outputs(force=force, read=_beside(path)).announce(target)
    _copy(path, target)
    typer.echo(f"Copied {path} to {target}, and the copy is whole.")


def _beside(path: Path) -> list[Path]:
    return [path.with_name(path.name + ending) for ending in ("", "-wal", "-shm", "-journal")]


def _layouts(name: str) -> tuple[Layout, ...]:
    """What must be in a store of that name; nothing is known of any other."""
    from ebbline.web.store import LAYOUTS

    return () if name.startswith(("record", "live")) else tuple(LAYOUTS)


def _copy(path: Path, target: Path) -> dict[str, int]:
    """Copy one store and look the copy over; a copy that is not whole is not left there."""
    from ebbline.store.store import copy_sqlite
    from ebbline.store.verify import verify_file

    copy_sqlite(path, target)
    try:
        return verify_file(target, _layouts(path.name))
    except Exception:
        target.unlink(missing_ok=True)
        raise


def _dated(path: Path, folder: Path, keep: int) -> None:
    stamp = datetime.now(UTC).strftime(STAMP)
    there = [path, path.with_name("record.sqlite"), path.with_name("live.sqlite")]
    names = [one for one in there if one.is_file()]
    for one in names:
        target = folder / f"{one.stem}-{stamp}.sqlite"
        rows = sum(_copy(one, target).values())
        typer.echo(f"Copied {one} to {target}: whole, {counted(rows, 'row')}.")
    removed = 0
    for one in names:
        sets = sorted(folder.glob(f"{one.stem}-[0-9]*T[0-9]*Z.sqlite"))
        for old in sets[:-keep]:
            old.unlink()
            removed += 1
    if removed:
        typer.echo(f"Removed {counted(removed, 'older copy', 'older copies')}.")


def verify(
    files: Annotated[list[Path], typer.Argument(help="Copies that `ebbline backup` made.")],
) -> None:
    """Say whether copies are whole: every page, reference and table; nothing is changed.

    Example: ebbline verify /var/backups/ebbline/workbench-20260301T020000Z.sqlite
    """
    from ebbline.store.verify import verify_file

    for one in files:
        rows = verify_file(one, _layouts(one.name))
        told = ", ".join(f"{name} {count}" for name, count in rows.items() if count)
        typer.echo(f"{one}: whole. Rows: {told or 'none'}.")


def doctor(
    store: StorePath = None,
    url: Annotated[
        str,
        typer.Option(help="The address that browsers use, to look through the proxy as they do."),
    ] = "",
) -> None:
    """Look at what a workbench stands on (cache, store, disk, clock, zone, proxy): what is wrong?

    Ends with 1 where something is wrong. It changes nothing.

    Example: ebbline doctor --url https://workbench.example.org
    """
    from ebbline.web.operations.doctor import look_over
    from ebbline.web.settings import default_store

    found = look_over(store or default_store(), url)
    for one in found:
        typer.echo(f"{one.state:7} {one.what}: {one.told}")
        if one.remedy:
            typer.echo(f"{'':8}{one.remedy}")
    wrong = sum(one.state == "wrong" for one in found)
    typer.echo(f"{wrong} wrong." if wrong else "Nothing is wrong.")
    if wrong:
        raise typer.Exit(1)
