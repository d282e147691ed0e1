"""The published schema is the one the types give."""

from __future__ import annotations

import json

from jsonschema import Draft202012Validator

from ebbline.reading.schema import reading_schema
from ebbline.reading.schema.generate import fresh


def test_the_shipped_schema_is_the_one_of_this_version() -> None:
    assert reading_schema() == fresh(), "run python -m ebbline.reading.schema.generate"


def test_the_shipped_schema_is_a_valid_schema() -> None:
    Draft202012Validator.check_schema(json.loads(reading_schema()))
