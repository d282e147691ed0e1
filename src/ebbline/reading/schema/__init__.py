"""The published JSON schema of what `ebbline read --json` writes."""

from __future__ import annotations

from importlib.resources import files


def reading_schema() -> str:
    """JSON Schema (draft 2020-12) of a saved Reading, as text."""
    return files(__name__).joinpath("reading.schema.json").read_text(encoding="utf-8")
