"""Makes reading.schema.json anew from the types: `python -m ebbline.reading.schema.generate`.

Run after a change of any type that a Reading holds; a test compares the shipped file with a fresh
one.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import ConfigDict, TypeAdapter
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from ebbline.reading.model import Reading

_NUMBER_OR_NULL: JsonSchemaValue = {"type": ["number", "null"]}


class _AsTheCodecWrites(GenerateJsonSchema):
    """Numbers may be null (NaN), arrays are lists of such numbers, every field is written."""

    def float_schema(self, schema: core_schema.FloatSchema) -> JsonSchemaValue:
        return dict(_NUMBER_OR_NULL)

    def is_instance_schema(self, schema: core_schema.IsInstanceSchema) -> JsonSchemaValue:
        return {"type": "array", "items": dict(_NUMBER_OR_NULL)}

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        inner = self.generate_inner(schema["schema"])
        return inner if inner == _NUMBER_OR_NULL else super().nullable_schema(schema)

    def dataclass_schema(self, schema: core_schema.DataclassSchema) -> JsonSchemaValue:
        return {**super().dataclass_schema(schema), "additionalProperties": False}

    def field_is_required(self, field: Any, total: bool) -> bool:
        return True

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False


def fresh() -> str:
    """The schema's text as the types of this version give it."""
    # A list, because the configuration of an adapter reaches dataclasses only from outside.
    adapter = TypeAdapter(list[Reading], config=ConfigDict(arbitrary_types_allowed=True))
    made = adapter.json_schema(schema_generator=_AsTheCodecWrites, mode="serialization")
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Ebbline reading",
        "description": "A reading of one recording. null stands for a number that is not known.",
        **{key: value for key, value in made["items"].items() if key == "$ref"},
        "$defs": made["$defs"],
    }
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    Path(__file__).with_name("reading.schema.json").write_text(fresh(), encoding="utf-8")
