"""Types of what comes in that every feature's schemas share."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StringConstraints

Finite = Annotated[float, Field(allow_inf_nan=False)]
Words = Annotated[str, StringConstraints(max_length=1000, strip_whitespace=True)]
