"""The JSON Schemas of the formats: that of the rig, made from its records, and what all of them share.

A schema accepts what a reader must accept: also keys that it does not know, which a newer minor version may add. It
refuses what no reader could evaluate; `plica.rig.integrity` refuses the same, and what a schema cannot say.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from itertools import permutations
from typing import Any, Final

from plica.kinds.kernels import KERNEL_KINDS
from plica.rig.rig import FORMAT_VERSION
from plica.rig.rig_json import HEAD, described_records, optional_keys

SCHEMA_DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"
MOST_SAMPLES: Final = 16
"""Beside rest, of a field whose coefficients the schema counts; of more it says only that there are as many or more."""

Schema = dict[str, Any]

_SHARE: Final = {"minimum": 0, "maximum": 1}
_FROM_0: Final = {"minItems": 2, "prefixItems": [{"prefixItems": [{"const": 0}]}]}
_CONSTRAINTS: Final[Mapping[str, Mapping[str, Schema]]] = {
    "Driver": {"span": {"uniqueItems": True}},
    "Euler": {"order": {"enum": ["".join(order) for order in permutations("xyz")]}},
    "Points": {"points": _FROM_0},
    "Hermite": {"knots": _FROM_0},
    "Bezier": {"controls": {"prefixItems": [_SHARE, {}, _SHARE, {}]}},
    "Combination": {"parts": {"minItems": 1}},
    "Field": {"samples": {"minItems": 2}, "width": {"exclusiveMinimum": 0}},
    "FieldSample": {"width": {"exclusiveMinimum": 0}},
    "Geometry": {"unit": {"exclusiveMinimum": 0}},
    "OffsetsPart": {
        "first": {"minimum": 0},
        "vertices": {"minimum": 0},
        "points": {"minimum": 0},
        "to_model": {"prefixItems": [{}, {}, {}, {"const": [0, 0, 0, 1]}]},
    },
}


def schema_head(name: str, version: int, title: str, description: str) -> Schema:
    """What stands at the top of every schema; `name` and `version` are those of the format."""
    return {
        "$schema": SCHEMA_DIALECT,
        "$id": f"urn:plica:schema:{name}:{version}",
        "title": title,
        "description": description,
    }


def rig_schema() -> Schema:
    """The JSON Schema (draft 2020-12) of the rig, made from the records."""
    definitions, descriptions = described_records()
    top = definitions.pop("Rig")
    later = _added_to_entries(top)
    for name, definition in definitions.items():
        # pydantic before 2.12 leaves these out for dataclasses.
        definition["description"] = descriptions(name)
        definition.pop("additionalProperties", None)
        properties = definition["properties"]
        definition["required"] = [key for key in properties if key != "about" and key not in later.get(name, ())]
        definition.pop("title", None)
        for key, entry in properties.items():
            _plain(entry)
            _narrow(entry, _CONSTRAINTS.get(name, {}).get(key, {}))
        definitions[name] = dict(sorted(definition.items()))
    definitions["Field"]["anyOf"] = list(_tables_of_fields())
    names = [*HEAD, *(name for name in top["properties"] if name not in HEAD)]
    properties = {name: top["properties"][name] for name in names}
    for entry in properties.values():
        _plain(entry)
    properties["version"] = {"const": FORMAT_VERSION}
    properties["minor"] = {"type": "integer", "minimum": 0}
    return {
        **schema_head("rig", FORMAT_VERSION, "Plica rig", descriptions("Rig")),
        "type": "object",
        "properties": properties,
        "required": [name for name in names if name not in optional_keys()],
        "$defs": definitions,
    }


def _added_to_entries(top: Schema) -> dict[str, set[str]]:
    """By the record of a top-level list's entries: the keys that files of an older minor version lack."""
    result: dict[str, set[str]] = {}
    for place in optional_keys():
        name, _, key = place.rpartition(".")
        if name:
            record = top["properties"][name]["items"]["$ref"].rpartition("/")[2]
            result.setdefault(record, set()).add(key)
    return result


def schema_text(schema: Schema) -> str:
    """A schema as the text of the file that is published."""
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def _plain(entry: Schema) -> None:
    entry.pop("title", None)
    entry.pop("default", None)


def _narrow(entry: Schema, more: Schema) -> None:
    """Adds constraints to a schema, to the first that is not null where there is a choice."""
    target = next((one for one in entry["anyOf"] if one.get("type") != "null"), entry) if "anyOf" in entry else entry
    for key, value in more.items():
        if key == "prefixItems" and key in target:
            for one, other in zip(target[key], value, strict=True):
                _narrow(one, other)
        elif key == "prefixItems":
            target[key] = [_both(target["items"], one) for one in value]
        else:
            target[key] = value


def _both(first: Schema, second: Schema) -> Schema:
    return {"allOf": [first, second]}


def _tables_of_fields() -> list[Schema]:
    """What goes together in a field: the kernel, the samples, and the sizes of `coefficients` and `constants`."""
    radial = [kind.name for kind in KERNEL_KINDS.values() if kind.radial is not None]
    others = [kind.name for kind in KERNEL_KINDS.values() if kind.radial is None]
    empty = {"maxItems": 0}
    result: list[Schema] = [
        {"properties": {"kernel": {"enum": others}, "coefficients": empty, "constants": empty}},
    ]
    for count in range(1, MOST_SAMPLES + 1):
        result.append(_sized(radial, {"minItems": count, "maxItems": count}, _exactly(count + 1), _exactly(count + 1)))
    more = {"minItems": MOST_SAMPLES + 1}
    return [*result, _sized(radial, more, {"minItems": MOST_SAMPLES + 2}, {"minItems": MOST_SAMPLES + 2})]


def _sized(kernels: list[str], row: Schema, rows: Schema, samples: Schema) -> Schema:
    coefficients = {**rows, "items": row}
    sizes = {"samples": samples, "coefficients": coefficients, "constants": row}
    return {"properties": {"kernel": {"enum": kernels}, **sizes}}


def _exactly(count: int) -> Schema:
    return {"minItems": count, "maxItems": count}
