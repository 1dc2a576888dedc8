"""Which abilities of a target a Rig needs, and what happens where a target lacks one.

A feature is two words, `reading gap`. Only what changes behaviour counts: what is merely described (regions,
expectations, titles) needs no ability.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import get_args

from plica.diagnostics import Diagnostics
from plica.emit.build import Build, EntryOrigin
from plica.emit.target import Target
from plica.kinds.combinations import COMBINATION_KINDS
from plica.kinds.curves import CURVE_NAMES
from plica.kinds.kernels import KERNEL_KINDS
from plica.kinds.readings import READING_KINDS
from plica.rig.rig import Rig
from plica.rig.strengths import Combination, Combine, Driver
from plica.values import SkinningMethod

READINGS = frozenset(f"reading {name}" for name in READING_KINDS)
CURVES = frozenset(f"curve {name}" for name in CURVE_NAMES)
COMBINATIONS = frozenset(f"combine {name}" for name in COMBINATION_KINDS)
FIELDS = frozenset({"field rotation", "field direction"})
KERNELS = frozenset(f"kernel {name}" for name in KERNEL_KINDS)
SHAPES = frozenset({"shape weight", "shape inbetween"})
SKINNINGS = frozenset(f"skinning {method}" for method in get_args(SkinningMethod) if method != "linear")
OTHERS = frozenset({"driver unclamped", "fold strength"})
ALL_FEATURES = READINGS | CURVES | COMBINATIONS | FIELDS | KERNELS | SHAPES | SKINNINGS | OTHERS


def used_features(rig: Rig) -> dict[str, list[EntryOrigin]]:
    """The features that a Rig needs, each with the entries that need it, in the order of the Rig."""
    result: dict[str, list[EntryOrigin]] = {}
    for feature, origin in _uses(rig):
        entries = result.setdefault(feature, [])
        if origin not in entries[-1:]:
            entries.append(origin)
    return result


def _uses(rig: Rig) -> Iterator[tuple[str, EntryOrigin]]:
    for field in rig.fields:
        yield f"field {field.metric}", ("field", field.name)
        yield f"kernel {field.kernel}", ("field", field.name)
    for strength in rig.strengths:
        if isinstance(strength, Driver):
            yield from ((feature, ("driver", strength.name)) for feature in _driver_features(strength))
        elif isinstance(strength, Combine):
            for how in _ways(strength.combination):
                yield f"combine {how}", ("combine", strength.name)
    # Every form that holds offsets can mean them for a linear skin; offsets for another skin it has to be able to say.
    if rig.character.skinning != "linear" and any(shape.source is not None for shape in rig.shapes):
        yield f"skinning {rig.character.skinning}", ("character", rig.character.name)
    for shape in rig.shapes:
        yield "shape weight", ("shape", shape.name)
        if shape.inbetweens:
            yield "shape inbetween", ("shape", shape.name)
    for fold in rig.folds:
        yield "fold strength", ("fold", fold.name)


def _driver_features(driver: Driver) -> Iterator[str]:
    yield f"reading {driver.reading.kind}"
    yield f"curve {driver.curve.kind}"
    if not driver.clamped:
        yield "driver unclamped"


def _ways(combination: Combination) -> Iterator[str]:
    yield combination.how
    for part in combination.parts:
        if isinstance(part, Combination):
            yield from _ways(part)


def check_features(build: Build, target: Target, diagnostics: Diagnostics, allow_inexpressible: bool) -> None:
    """Adds a diagnostic at each entry that needs what the target lacks: an error, or a warning where allowed."""
    rule = "inexpressible-allowed" if allow_inexpressible else "inexpressible"
    for feature, entries in used_features(build.rig).items():
        if feature not in target.supports:
            for kind, name in entries:
                span = build.span_of(kind, name)
                diagnostics.add(rule, span, target=target.name, kind=kind, name=name, feature=feature)


def feature_table(targets: Iterable[Target]) -> str:
    """A Markdown table of what each target declares: features down, targets across."""
    columns = sorted(targets, key=lambda target: target.name)
    lines = [
        "| feature | " + " | ".join(f"`{target.name}`" for target in columns) + " |",
        "| --- |" + " --- |" * len(columns),
    ]
    for feature in sorted(ALL_FEATURES):
        marks = " | ".join("yes" if feature in target.supports else "no" for target in columns)
        lines.append(f"| {feature} | {marks} |")
    return "\n".join(lines) + "\n"


def target_table(targets: Iterable[Target]) -> str:
    """A Markdown table of what each target is."""
    rows = [f"| `{target.name}` | {target.description} |" for target in sorted(targets, key=lambda one: one.name)]
    return "\n".join(["| target | gives |", "| --- | --- |", *rows]) + "\n"
