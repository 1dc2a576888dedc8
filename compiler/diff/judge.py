"""How bad a fact is, and what it reaches. Small evaluators, each for a few fields; what none of them knows is risky."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from enum import IntEnum
from functools import cached_property
from typing import NamedTuple

from plica.diff.collect import MEASURED
from plica.diff.dependents import Dependents
from plica.diff.effects import Effect, Response, combine_effect, driver_effect, response_of, same_sources
from plica.diff.facts import Difference, FieldChange
from plica.diff.geometry import GeometryEffect, MaskEffect, MeasuredEffects, RegionEffect
from plica.diff.geometry_text import geometry_text
from plica.diff.offset_moves import moved_text
from plica.diff.pose_text import over_text, pose_change, sweeps_less
from plica.diff.value_text import ARROW, amount, number, text_of, unit_of, unit_of_reading
from plica.kinds.expectations import expectation_kind
from plica.rig.entry_text import quantity_text, reading_text, span_text
from plica.rig.offsets_table import ShapeOffsets
from plica.rig.rig import Expectation, Rig
from plica.rig.strengths import Combine, Driver

SMALL = 0.02  # of a strength: what is hardly seen; a figure of our own


class Harm(IntEnum):
    """How bad a change is; the worst first."""

    BREAKING = 0
    RISKY = 1
    SAFE = 2
    COSMETIC = 3

    @property
    def word(self) -> str:
        """As it is written."""
        return self.name.lower()


NAMES, STRENGTHS, GEOMETRY, TEXTURES, BUDGET = "names", "strengths", "geometry", "textures", "budget"
REACHES = (NAMES, STRENGTHS, GEOMETRY, TEXTURES, BUDGET)


class Verdict(NamedTuple):
    """One judgement: `text` reads alike on both sides, `exact` (numbers in a joint's own frame) need not."""

    rule: str
    harm: Harm
    reaches: tuple[str, ...]
    text: str
    exact: str = ""


class Plot(NamedTuple):
    """Two responses to the same reading, to be drawn, and the reading's unit."""

    old: Response
    new: Response
    unit: str


class Judged(NamedTuple):
    """A fact with its verdicts; of a comparable driver the effect and what to draw; what it does on the mesh."""

    fact: Difference
    verdicts: tuple[Verdict, ...]
    effect: Effect | None = None
    plot: Plot | None = None
    geometry: GeometryEffect | None = None


# What an entry of a list reaches, where nothing more is known.
_TABLES: Mapping[str, tuple[str, ...]] = {
    "character": (NAMES,),
    "skeleton": (STRENGTHS, GEOMETRY),
    "symmetry": (STRENGTHS, GEOMETRY),
    "controls": (STRENGTHS,),
    "fields": (STRENGTHS,),
    "strengths": (STRENGTHS,),
    "shapes": (GEOMETRY,),
    "details": (TEXTURES,),
    "folds": (TEXTURES,),
    "poses": (GEOMETRY,),
    "aliases": (STRENGTHS,),
    "offsets": (GEOMETRY,),
    "format": (NAMES,),
    "version": (NAMES,),
}
# Rule, harm and reach of fields that need no more than a look into this table.
_FIELDS: Mapping[tuple[str, str], tuple[str, Harm, tuple[str, ...]]] = {
    ("character", "name"): ("character-renamed", Harm.BREAKING, (NAMES,)),
    ("character", "title"): ("title", Harm.COSMETIC, (NAMES,)),
    ("character", "geometry"): ("geometry", Harm.RISKY, (GEOMETRY, TEXTURES)),
    ("character", "tolerance"): ("tolerance", Harm.RISKY, (GEOMETRY,)),
    ("character", "band"): ("band", Harm.RISKY, (GEOMETRY, TEXTURES)),
    ("skeleton", "skinned"): ("skinned", Harm.RISKY, (GEOMETRY,)),
    ("symmetry", "found"): ("plane-stated", Harm.COSMETIC, (GEOMETRY,)),
    ("controls", "rest"): ("control-rest", Harm.RISKY, (STRENGTHS,)),
    ("shapes", "follows"): ("follows", Harm.RISKY, (STRENGTHS, GEOMETRY)),
    ("folds", "follows"): ("follows", Harm.RISKY, (STRENGTHS, TEXTURES)),
    ("folds", "tolerance"): ("mask-tolerance", Harm.RISKY, (TEXTURES, BUDGET)),
    ("folds", "mask"): ("mask-place", Harm.RISKY, (TEXTURES,)),
    ("offsets", "file"): ("offsets-file", Harm.BREAKING, (NAMES, GEOMETRY)),
    ("offsets", "vertex_count"): ("vertex-count", Harm.BREAKING, (GEOMETRY,)),
    ("offsets", "fingerprint"): ("mesh", Harm.RISKY, (GEOMETRY,)),
    ("offsets", "joint"): ("nearest-joint", Harm.COSMETIC, (GEOMETRY,)),
    ("format", "format"): ("format", Harm.BREAKING, (NAMES,)),
    ("version", "version"): ("format", Harm.BREAKING, (NAMES,)),
}
_RESPONSE = ("reading", "span", "clamped", "curve")
NOTHING_ON_MESH = "on the mesh nothing differs"
# The fields of entries that say what lies on the mesh.
_ON_MESH: Mapping[str, frozenset[str]] = {
    "regions": frozenset({"source", "feather"}),
    "shapes": frozenset({"source", "within", "threshold", "inbetweens", "mirrored"}),
    "folds": frozenset({"area", "tolerance"}),
}
_MOVED = ("vertices", "bytes", "largest", "listed", "inbetweens")


class Judge:
    """Judges the facts of one pair of rigs."""

    def __init__(self, old: Rig, new: Rig, measured: MeasuredEffects | None = None) -> None:
        self._old = old
        self._new = new
        self._measured = measured or MeasuredEffects()
        self._evaluators: tuple[Callable[[Difference, str, list[FieldChange]], Iterable[Verdict] | None], ...] = (
            self._names,
            self._about,
            self._limit,
            self._poses_of_expectation,
            self._uv_of_expectation,
            self._pose,
            self._budget,
            self._range,
            self._region,
            self._file,
            self._by_table,
        )

    @cached_property
    def uses(self) -> Dependents:
        """Who uses what, in either rig."""
        return Dependents(self._old, self._new)

    def judged(self, fact: Difference) -> Judged:
        """The fact with all that there is to say about it."""
        geometry = self._measured.effects.get((fact.table, fact.name))
        if fact.what in ("added", "removed"):
            return Judged(fact, (self._whole(fact), *self._on_mesh(fact, geometry)), geometry=geometry)
        effect, plot = self._effect(fact)
        verdicts: list[Verdict] = []
        if fact.what == "renamed":
            old = getattr(fact.old, "declared", fact.old.name)
            text = f"renamed from {old}: outputs are called otherwise now"
            verdicts.append(Verdict("renamed", Harm.BREAKING, (NAMES,), text))
        for first, fields in _grouped(fact, effect is not None):
            found = self._verdicts(fact, first, fields, effect)
            stays = geometry is None and self._lies_on_mesh(fact, first)
            verdicts += [one._replace(harm=max(one.harm, Harm.SAFE)) if stays else one for one in found]
        verdicts += self._on_mesh(fact, geometry)
        ordered = sorted(verdicts, key=lambda verdict: verdict.harm)
        return Judged(fact, tuple(ordered), effect, plot, geometry)

    def _verdicts(
        self, fact: Difference, first: str, fields: list[FieldChange], effect: Effect | None
    ) -> Iterable[Verdict]:
        if first == "response":
            return self._response(fact, fields, effect)
        if first == "combination":
            return [self._combination(fact)]
        if first == "moved":
            return [Verdict("offsets-moved", Harm.RISKY, (GEOMETRY,), moved_text(fact.old, fact.new))]
        for evaluator in self._evaluators:
            result = evaluator(fact, first, fields)
            if result is not None:
                return result
        reaches = _TABLES.get(fact.table, (NAMES,))
        return [Verdict(first.replace("_", "-") or "changed", Harm.RISKY, reaches, _values(fact, fields))]

    # ---- whole entries

    def _whole(self, fact: Difference) -> Verdict:
        added = fact.what == "added"
        if isinstance(fact.entry, Expectation):
            if added:
                return Verdict("expectation-added", Harm.SAFE, (GEOMETRY,), "one more thing must hold")
            text = "EXPECTATION DROPPED: this need not hold now"
            return Verdict("expectation-dropped", Harm.RISKY, (GEOMETRY,), text)
        if fact.table == "symmetry":
            return Verdict("plane", Harm.RISKY, (STRENGTHS, GEOMETRY), f"the mirror plane was {fact.what}")
        if fact.table == "offsets":
            return Verdict("offsets", Harm.RISKY, (GEOMETRY,), f"the computed offsets were {fact.what}")
        reaches = (NAMES, *(reach for reach in _TABLES.get(fact.table, ()) if reach != NAMES))
        if fact.table == "regions":
            reaches = (NAMES, *self.uses.reaches_of_region(fact.name))
        if added:
            return Verdict("added", Harm.SAFE, reaches, "added")
        harm = Harm.RISKY if fact.table == "aliases" else Harm.BREAKING
        return Verdict("removed", harm, reaches, "removed: what used this name finds nothing")

    # ---- the mesh

    def _on_mesh(self, fact: Difference, effect: GeometryEffect | None) -> list[Verdict]:
        """What was measured of an entry; that nothing differs is worth a word where the text does."""
        if effect is None:
            if any(self._lies_on_mesh(fact, field.first) for field in fact.fields):
                return [Verdict("nothing-moves", Harm.COSMETIC, (GEOMETRY,), NOTHING_ON_MESH)]
            return []
        harm = Harm.RISKY if fact.what == "changed" else Harm.SAFE
        reaches: tuple[str, ...] = (GEOMETRY,)
        if isinstance(effect, RegionEffect):
            reaches = self.uses.reaches_of_region(fact.name)
        elif isinstance(effect, MaskEffect):
            reaches = (TEXTURES, BUDGET) if effect.sizes[0] != effect.sizes[1] else (TEXTURES,)
        return [Verdict(MEASURED, harm, reaches, "on the mesh", geometry_text(effect, fact.what))]

    def _lies_on_mesh(self, fact: Difference, first: str) -> bool:
        """Whether a field of what both states have says what lies on the mesh, and that was looked at."""
        both = fact.what in ("changed", "renamed")
        return both and self._measured.was_done and first in _ON_MESH.get(fact.table, ())

    # ---- strengths

    def _effect(self, fact: Difference) -> tuple[Effect | None, Plot | None]:
        """The computed effect of a driver's change, and what to draw where both have the same reading."""
        old, new = fact.old, fact.new
        if not (isinstance(old, Driver) and isinstance(new, Driver)):
            return None, None
        if not any(field.first in _RESPONSE for field in fact.fields):
            return None, None
        effect = driver_effect(old, new, self._old, self._new)
        if effect is None or not effect.same_reading:
            return effect, None
        return effect, Plot(response_of(old), response_of(new), unit_of_reading(new.reading))

    def _response(self, fact: Difference, fields: list[FieldChange], effect: Effect | None) -> Iterator[Verdict]:
        old, new = fact.old, fact.new
        firsts = list(dict.fromkeys(field.first for field in fields))
        said, exact = [], ""
        for first in firsts:
            if first == "reading":
                before, after = quantity_text(old.reading), quantity_text(new.reading)
                said.append(f"reads {before} {ARROW} {after}" if before != after else "reads about another axis")
                exact = f"{reading_text(old.reading)} {ARROW} {reading_text(new.reading)}"
            elif first == "span":
                texts = [span_text(driver.reading, driver.span) for driver in (old, new)]
                said.append(f"span {texts[0]} {ARROW} {texts[1]}")
            else:
                texts = [text_of(getattr(driver, first)) for driver in (old, new)]
                said.append(f"{first} {texts[0]} {ARROW} {texts[1]}")
        rule = "-and-".join(firsts)
        text = ", ".join(said)
        if effect is None:
            yield Verdict(rule, Harm.RISKY, (STRENGTHS,), f"{text}: cannot be compared", exact)
            return
        unit = unit_of_reading(old.reading)
        harm, motion = _harm_of(effect), ""
        if not effect.same_reading:
            # The two agree or differ on the motion that the old one reads; on others they may differ more.
            alike = same_sources(old.reading, new.reading)
            harm = min(harm, Harm.SAFE if alike else Harm.RISKY)
            motion = "on the motion read before, "
        yield Verdict(rule, harm, (STRENGTHS,), f"{text}: {motion}{effect_text(effect, unit)}", exact)

    def _combination(self, fact: Difference) -> Verdict:
        old, new = fact.old, fact.new
        text = f"{text_of(old.combination)} {ARROW} {text_of(new.combination)}"
        mixture = combine_effect(old, new)
        if mixture is None:
            return Verdict("combination", Harm.RISKY, (STRENGTHS,), text)
        if mixture.largest <= 1e-9:
            return Verdict("combination", Harm.COSMETIC, (STRENGTHS,), f"{text}: the same strengths")
        at = ", ".join(f"{name} {number(value)}" for name, value in mixture.parts)
        where = f"{number(mixture.before)} {ARROW} {number(mixture.after)} where {at}"
        harm = Harm.SAFE if mixture.largest <= SMALL else Harm.RISKY
        return Verdict("combination", harm, (STRENGTHS,), f"{text}: {where}")

    # ---- fields

    def _names(self, fact: Difference, first: str, fields: list[FieldChange]) -> Iterable[Verdict] | None:
        if first != "name" or fact.table == "character":
            return None
        text = f"output name {fields[0].old} {ARROW} {fields[0].new}"
        return [Verdict("output-name", Harm.BREAKING, (NAMES,), text)]

    def _about(self, fact: Difference, first: str, fields: list[FieldChange]) -> Iterable[Verdict] | None:
        if first != "about":
            return None
        parts = dict.fromkeys(field.path.split(".")[-1].split("[")[0] for field in fields if "." in field.path)
        words = {"notes": "notes", "photos": "photos", "renamed_from": "what it was called", "file": "photos"}
        words["caption"] = "photos"
        said = ", ".join(dict.fromkeys(words.get(part, part) for part in parts))
        return [Verdict("said", Harm.COSMETIC, (NAMES,), f"{said or 'what is said about it'} changed")]

    def _limit(self, fact: Difference, first: str, fields: list[FieldChange]) -> Iterable[Verdict] | None:
        if first != "limit" or not isinstance(fact.new, Expectation):
            return None
        unit = unit_of(fact.table, "limit", fact.new)
        old, new = fields[0].old, fields[0].new
        text = f"{amount(old, unit)} {ARROW} {amount(new, unit)}"
        if old is None or new is None:
            return [Verdict("limit", Harm.RISKY, (GEOMETRY,), f"limit {text}")]
        worse = expectation_kind(fact.new.kind).worse.value
        if worse * new > worse * old:
            return [Verdict("expectation-loosened", Harm.RISKY, (GEOMETRY,), f"EXPECTATION LOOSENED: {text}")]
        return [Verdict("expectation-tightened", Harm.SAFE, (GEOMETRY,), f"tightened: {text}")]

    def _poses_of_expectation(
        self, fact: Difference, first: str, fields: list[FieldChange]
    ) -> Iterable[Verdict] | None:
        if not isinstance(fact.new, Expectation) or first != "over":
            return None
        text = f"over {over_text(fact.old)} {ARROW} {over_text(fact.new)}"
        if sweeps_less(fact.old, fact.new):
            text = f"EXPECTATION LOOSENED: fewer poses: {text}"
            return [Verdict("expectation-loosened", Harm.RISKY, (GEOMETRY,), text)]
        return [Verdict("expectation", Harm.SAFE, (GEOMETRY,), text)]

    def _uv_of_expectation(self, fact: Difference, first: str, fields: list[FieldChange]) -> Iterable[Verdict] | None:
        if not isinstance(fact.new, Expectation) or first != "uv":
            return None
        places = [f"uv {item.uv}" if item.uv else "the surface at rest" for item in (fact.old, fact.new)]
        text = (
            f"EXPECTATION CHANGED: measured against {places[0]} {ARROW} {places[1]}: its limit means something else now"
        )
        return [Verdict("expectation-measure", Harm.RISKY, (GEOMETRY,), text)]

    def _pose(self, fact: Difference, first: str, fields: list[FieldChange]) -> Iterable[Verdict] | None:
        if (fact.table, first) != ("poses", "items"):
            return None
        return [Verdict("pose", Harm.RISKY, (GEOMETRY,), *pose_change(fields[0].old, fields[0].new))]

    def _budget(self, fact: Difference, first: str, fields: list[FieldChange]) -> Iterable[Verdict] | None:
        if (fact.table, first) != ("details", "budget"):
            return None
        old, new = fields[0].old, fields[0].new
        raised = new is None or (old is not None and new > old)
        harm = Harm.RISKY if raised else Harm.SAFE
        word = "raised" if raised else "lowered"
        return [Verdict(f"budget-{word}", harm, (BUDGET,), f"budget {word}: {_change(fields[0], 'bytes')}")]

    def _range(self, fact: Difference, first: str, fields: list[FieldChange]) -> Iterable[Verdict] | None:
        if (fact.table, first) != ("controls", "range"):
            return None
        (low, high), (new_low, new_high) = fact.old.range, fact.new.range
        narrower = new_low > low or new_high < high
        rule, harm = ("range-narrowed", Harm.RISKY) if narrower else ("range-widened", Harm.SAFE)
        text = f"range {number(low)} .. {number(high)} {ARROW} {number(new_low)} .. {number(new_high)}"
        return [Verdict(rule, harm, (STRENGTHS,), text)]

    def _region(self, fact: Difference, first: str, fields: list[FieldChange]) -> Iterable[Verdict] | None:
        if fact.table != "regions":
            return None
        reaches = self.uses.reaches_of_region(fact.name) or (GEOMETRY,)
        return [Verdict(f"region-{first}", Harm.RISKY, reaches, _values(fact, fields))]

    def _file(self, fact: Difference, first: str, fields: list[FieldChange]) -> Iterable[Verdict] | None:
        if fact.table != "files":
            return None
        reaches = self.uses.reaches_of_file(fact.name)
        return [Verdict("file-contents", Harm.RISKY, reaches, "the file has other contents")]

    def _by_table(self, fact: Difference, first: str, fields: list[FieldChange]) -> Iterable[Verdict] | None:
        known = _FIELDS.get((fact.table, first))
        if known is None:
            return None
        rule, harm, reaches = known
        return [Verdict(rule, harm, reaches, _values(fact, fields))]


def _grouped(fact: Difference, has_effect: bool) -> Iterator[tuple[str, list[FieldChange]]]:
    """A fact's differences by the field of the entry; what makes up one effect, or one shape's offsets, together."""
    groups: dict[str, list[FieldChange]] = {}
    both = type(fact.old) is type(fact.new)
    for field in fact.fields:
        first = field.first
        if first == MEASURED or (fact.what == "renamed" and field.path == "about.renamed_from"):
            continue  # told as what is measured, and as the new name
        if isinstance(fact.new, Driver) and both and first in _RESPONSE:
            first = "response"
        elif isinstance(fact.new, ShapeOffsets) and first in _MOVED:
            first = "moved"
        elif isinstance(fact.new, Expectation) and first.startswith("over"):
            first = "over"
        elif first == "combination" and not isinstance(fact.new, Combine):
            first = "changed"
        groups.setdefault(first, []).append(field)
    yield from groups.items()


def _harm_of(effect: Effect) -> Harm:
    if effect.flipped or effect.rest_moved:
        return Harm.BREAKING
    if effect.is_nothing:
        return Harm.COSMETIC
    return Harm.SAFE if effect.largest <= SMALL else Harm.RISKY


def effect_text(effect: Effect, unit: str) -> str:
    """What a change of a response does, in a sentence."""
    if effect.is_nothing:
        return "the strengths stay the same"
    parts = [f"strength changes by at most {number(effect.largest)}, at {amount(effect.at, unit)}"]
    if effect.flipped:
        parts.append("DIRECTION FLIPPED")
    if effect.rest_moved:
        parts.append(f"AT REST {number(effect.rest[0])} {ARROW} {number(effect.rest[1])}")
    if effect.extreme_moved:
        before, after = (amount(value, unit) for value in effect.reaches)
        if before != after:
            parts.append(f"the extreme moved from {before} to {after}")
        else:
            ends = [number(value) for value in effect.at_extreme]
            parts.append(f"at the extreme {ends[0]} {ARROW} {ends[1]}")
    if not effect.rest_moved and not effect.extreme_moved:
        parts.append("rest and extreme stay")
    return "; ".join(parts)


def _change(field: FieldChange, unit: str) -> str:
    return f"{text_of(field.old, unit)} {ARROW} {text_of(field.new, unit)}"


def _values(fact: Difference, fields: list[FieldChange]) -> str:
    """Old and new values of some fields; only the first few of many."""
    listed = [
        f"{field.path.replace('_', ' ') or fact.kind} {_change(field, unit_of(fact.table, field.first, fact.new))}"
        for field in fields[:3]
    ]
    if len(fields) > 3:
        listed.append(f"and {len(fields) - 3} more")
    return ", ".join(listed)
