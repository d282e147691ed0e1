"""What `read` and `convert` ask of a strip on paper that its picture does not tell."""

from __future__ import annotations

from typing import Annotated

import typer

PaperSpeed = Annotated[
    float | None,
    typer.Option(help="Of a picture of paper: its speed, 1, 2 or 3 cm/min.", metavar="CM/MIN"),
]
PaperRange = Annotated[
    str | None,
    typer.Option(
        help="bpm of the lowest and highest line, where the printed numbers are not read.",
        metavar="LOW-HIGH",
    ),
]
PaperLine = Annotated[
    float | None,
    typer.Option(help="Seconds between two upright lines, however faint.", metavar="SECONDS"),
]
PaperTraces = Annotated[
    int | None, typer.Option(help="Heart rates on the paper: 2 for twins.", metavar="1|2")
]
