"""A resource held against HL7's own structure definitions of FHIR R4 (4.0.1).

Checks what the definitions say of paths, types, cardinalities, required codes and the form of
primitive values; not the invariants, which are in FHIRPath.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

DEFINED = json.loads(Path(__file__).with_name("fhir_r4_definitions.json").read_text())
ELEMENTS: dict[str, list[dict[str, Any]]] = DEFINED["elements"]


def faults(resource: dict[str, Any]) -> list[str]:
    """What of a resource, and of all within it, the definitions do not allow."""
    kind = resource["resourceType"]
    rest = {name: value for name, value in resource.items() if name != "resourceType"}
    return _faults(rest, kind, kind, kind)


def _faults(data: dict[str, Any], kind: str, path: str, place: str) -> list[str]:
    found: list[str] = []
    depth = path.count(".") + 1
    allowed = {}
    for one in ELEMENTS[kind]:
        if one["path"].startswith(f"{path}.") and one["path"].count(".") == depth:
            allowed[one["path"].rsplit(".", 1)[1]] = one
    used: dict[str, int] = {}
    for name, value in data.items():
        bare = name.removeprefix("_")
        match = _match(bare, allowed)
        if match is None:
            found.append(f"{place}.{name} is not defined")
            continue
        key, element, type_ = match
        many = element["max"] != "1"
        if many != isinstance(value, list):
            found.append(f"{place}.{name} is {'one' if many else 'many'}, the other is asked for")
            continue
        values = value if isinstance(value, list) else [value]
        used[key] = max(used.get(key, 0), len(values))
        if name.startswith("_"):
            continue
        for one in values:
            found += _value(one, element, type_, kind, f"{place}.{name}")
    for key, element in allowed.items():
        if element["min"] > used.get(key, 0):
            found.append(f"{place}.{key} is wanting")
    return found


def _match(name: str, allowed: dict[str, Any]) -> tuple[str, dict[str, Any], str] | None:
    if name in allowed:
        return name, allowed[name], (allowed[name].get("types") or [""])[0]
    for key, element in allowed.items():
        if key.endswith("[x]") and name.startswith(key[:-3]):
            for type_ in element["types"]:
                if name[len(key) - 3 :] == type_[:1].upper() + type_[1:]:
                    return key, element, type_
    return None


def _value(value: Any, element: dict[str, Any], type_: str, kind: str, place: str) -> list[str]:
    if "same" in element:
        return _faults(value, kind, element["same"].removeprefix("#"), place)
    if type_ in ("Resource", "DomainResource"):
        return faults(value)
    if type_ in ("BackboneElement", "Element"):
        return _faults(value, kind, element["path"], place)
    if type_ in ELEMENTS:
        return (
            _faults(value, type_, type_, place)
            if isinstance(value, dict)
            else [f"{place}: {type_}"]
        )
    wrong = []
    written = value if isinstance(value, str) else json.dumps(value)
    pattern = DEFINED["primitives"].get(type_, "")
    if pattern and not re.fullmatch(pattern, written):
        wrong.append(f"{place}: {written[:40]!r} is no {type_}")
    codes = DEFINED["codes"].get(element.get("codes", ""))
    if codes and value not in codes:
        wrong.append(f"{place}: {value!r} is not among the codes asked for")
    return wrong
