"""The command line: one file per command group, heavy imports inside the commands."""

from __future__ import annotations

import io
import os
import sys

import typer

from ebbline import CAUTION, __version__
from ebbline.cli import (
    archive,
    bedside,
    bedside_checks,
    compile,
    convert,
    criteria,
    invent,
    live,
    operate,
    read,
    record,
    serve,
    teach,
)
from ebbline.errors import EbblineError
from ebbline.extras import missing_extra

DEBUG = "EBBLINE_DEBUG"
"""Set, it shows the traceback of a fault of ours."""

app = typer.Typer(
    name="ebbline",
    help=f"Reading, examining and teaching in labour and delivery. {CAUTION}",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
# In the order in which the help lists them.
read.register(app)
criteria.register(app)
convert.register(app)
bedside.register(app)
bedside_checks.register(app)
invent.register(app)
archive.register(app)
teach.register(app)
record.register(app)
serve.register(app)
live.register(app)
operate.register(app)
compile.register(app)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"ebbline {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: bool = typer.Option(
        False, "--version", callback=_version, is_eager=True, help="Print the version and leave."
    ),
) -> None:
    """Reading, examining and teaching in labour and delivery."""


def main() -> None:
    """Run the command line; problems with the user's input end in words and exit code 2.

    This is the outermost guard: a fault of ours ends in words too, with exit code 70.

    A closed pipe and Ctrl-C end quietly (Typer sees to both, with exit codes 1 and 130).
    """
    for stream in (sys.stdout, sys.stderr):
        # A name that the terminal cannot show is no reason to fail.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        try:
            app()
        finally:
            # Here, where a full disk can still be told, rather than when the interpreter ends.
            sys.stdout.flush()
    except EbblineError as error:
        _leave(str(error))
    except BrokenPipeError:
        _drop_output()
        sys.exit(1)
    except ModuleNotFoundError as error:
        _leave(str(missing_extra(error)))
    except OSError as error:
        _drop_output()
        place = f"{error.filename}: " if error.filename else ""
        _leave(f"{place}{error.strerror or error}. Check the place and the rights to it.")
    except Exception as error:
        if os.environ.get(DEBUG):
            raise
        _leave(
            f"a fault of Ebbline's own ({type(error).__name__}: {str(error)[:200]}). Nothing of "
            f"yours was changed. Please report it, with what {DEBUG}=1 shows.",
            code=70,
        )


def _drop_output() -> None:
    """What is left in the buffer can go nowhere: let it, without a second complaint."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


def _leave(message: str, code: int = 2) -> None:
    print(f"ebbline: {message}", file=sys.stderr)
    sys.exit(code)
