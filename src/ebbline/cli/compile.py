"""`ebbline compile`: compile the loops ahead, for everybody where that can be written."""

from __future__ import annotations

from pathlib import Path

import typer

from ebbline.terms import counted


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(name="compile")(compile_ahead)


def compile_ahead() -> None:
    """Compile the loops now, so that no first reading waits for it (half a minute or more).

    Run it after installing, as whoever may write the installation: then it is done for every user
    of this computer. Anyone else compiles for themselves.
    """
    import ebbline
    from ebbline.compiled import compiled_here, places
    from ebbline.precompile import warm

    warm()
    kept = places()
    house = Path(ebbline.__file__).parent
    whose = "every user" if all(house in place.parents for place in kept) else "you"
    count = compiled_here()
    made = f"{counted(count, 'loop')} compiled" if count else "nothing to do"
    typer.echo(f"{made}: ready for {whose}, in {_shown(kept, house)}.")


def _shown(kept: list[Path], house: Path) -> str:
    inside = [place for place in kept if house in place.parents]
    others = sorted({place.parent for place in kept if place not in inside})
    return ", ".join(str(one) for one in ([house] if inside else []) + others)
