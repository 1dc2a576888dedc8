"""No field is forgotten: every change of every field is a fact, and what did not change is none."""

from __future__ import annotations

import inspect
import pickle
import re
from typing import Any, get_args, get_type_hints

import pytest
from hypothesis import Phase, given, settings

from plica import values
from plica.diff.character_state import CharacterState
from plica.diff.comparison import compare
from plica.diff.facts import facts
from plica.kinds import readings
from plica.pipeline import compile_file, compile_text
from plica.rig import offsets_table, rig, strengths, surfaces
from plica.rig.offsets_table import ListedInbetween, ListedOffsets, OffsetsPart, OffsetsTable, ShapeOffsets
from plica.rig.rig import OF_THE_BUILD, Rig
from plica.rig.surfaces import AreaDirection, DeformedSkin, DirectionMapPlace, MaskPlace, Region, StrengthPose
from plica.values import About, DraftFacts, Photo
from tests.support.data import ROOT
from tests.support.mutations import mutations
from tests.support.wren import skinned
from tests.targets.rigs import whole_rig
from tests.targets.strategies import rigs

STORED = ((0.01, 0.0, 0.0, 0.2), (0.0, 0.01, 0.0, 0.0), (0.0, 0.0, 0.01, 0.0), (0.0, 0.0, 0.0, 1.0))
"""A mesh in centimetres that stands 20 cm to the left."""
NO_PART_OF_A_RIG = {"SeenFrom", "MadeFrom", "SourceFile"}  # a view of readings and fields; what says of the build
MODULES = (values, readings, strengths, surfaces, offsets_table, rig)
LISTED = ListedOffsets((1, 4), ((0.0, 0.001, 0.0), (0.0, 0.0, 0.002)), ((0.0, 1.0, 0.0), (1.0, 0.0, 0.0)))


def rig_with_everything() -> Rig:
    """A rig in which each kind of record stands at least once."""
    rig = whole_rig()
    about = About(("stiff since the autumn",), (Photo("photos/boot.jpg", "the boot"),), "earlier")
    shapes = tuple(
        ShapeOffsets(shape.name, 2, 48, 0.002, None, LISTED, (ListedInbetween(0.5, LISTED),)) for shape in rig.shapes
    )
    maps = MaskPlace("a.masks.1.png", "green", "skin"), DirectionMapPlace("a.directions.1.png", "f00d", "skin")
    folds = tuple(fold._replace(mask=maps[0], directions=maps[1]) for fold in rig.folds)
    pose = (StrengthPose(rig.strengths[0].name, 1.0),)
    sizes = ((0.25, 0.75), "peak", 5e-5, 0.003, 1e-4)
    direction = AreaDirection("along", (1.0, 0.0, 0.0))
    found = (
        DeformedSkin("shortened", (), pose, (rig.shapes[0].name,), *sizes, direction),
        DeformedSkin("lengthened", (rig.shapes[0].name,), (), (), *sizes, direction),
    )
    areas = tuple(Region(f"found_{one.how}", "none", f"found_{one.how}", one, 0.002) for one in found)
    drafted = rig.shapes[0]._replace(draft=DraftFacts(0.98, 0.001, 0.01, 0.002, 2))
    rig = rig._replace(folds=folds, regions=(*rig.regions, *areas), shapes=(drafted, *rig.shapes[1:]))
    parts = (OffsetsPart("skin", "body", (0, 1), 0, 9, 8, STORED),)
    offsets = OffsetsTable("a.npz", 9, "f00d", parts, shapes)
    return rig._replace(character=rig.character._replace(about=about), offsets=offsets)


@pytest.fixture(scope="module")
def wren(tmp_path_factory: pytest.TempPathFactory) -> Rig:
    """The demo's rig; of its sculpts, maps and clips only the names matter here."""
    folder = skinned("", tmp_path_factory.mktemp("wren")).folder
    for source in (ROOT / "specs").rglob("*.plica"):
        place = folder / source.relative_to(ROOT / "specs")
        place.parent.mkdir(exist_ok=True)
        place.write_bytes(source.read_bytes())
    text = "".join(path.read_text("utf-8") for path in folder.rglob("*.plica"))
    text += "".join(text.replace("{finger}", finger) for finger in ("index", "middle", "ring", "little"))
    for file in re.findall(r'"([\w/]+\.(?:npz|png|glb))"', text):
        place = folder / file
        place.parent.mkdir(exist_ok=True)
        place.touch()
    compiled = compile_file(folder / "wren.plica")
    assert compiled.rig is not None, [result.message for result in compiled.diagnostics]
    return compiled.rig


def told(old: Rig, new: Rig) -> list[str]:
    """Where the two differ: `added`, `removed` or `renamed`, and the paths of the fields."""
    report = compare({"": CharacterState("old", old)}, {"": CharacterState("new", new)})
    assert all(change.verdicts and change.reaches for change in report.changes)
    result = [fact for change in report.changes for fact in change.facts]
    return [path for fact in result for path in (fact.what, *(field.path for field in fact.fields))]


def stated(old: Rig, new: Rig) -> list[str]:
    """The same of the bare facts, which nothing is computed for."""
    return [path for fact in facts(old, new) for path in (fact.what, *(field.path for field in fact.fields))]


def assert_all_told(rig: Rig) -> set[tuple[str, str]]:
    """Every mutation is told, at its field or as another entry; gives the records and fields that were mutated.

    What says which build a rig is of is none: it says nothing of what the rig does.
    """
    met: set[tuple[str, str]] = set()
    for mutation in mutations(rig):
        # The whole report, whose strengths are computed over many poses, once for each field of each record.
        first = (mutation.record.__name__, mutation.field) not in met
        paths = told(rig, mutation.rig) if first else stated(rig, mutation.rig)
        if mutation.path in OF_THE_BUILD:
            assert paths == []
            met.add((Rig.__name__, mutation.path))
            continue
        assert paths, mutation.path
        another = {"added", "removed", "renamed"} & set(paths)
        inside = re.sub(r"^\w+(\[\d+\])?\.?", "", mutation.path)
        assert another or any(path in (mutation.path, inside) or path in inside for path in paths[1:]), mutation.path
        met.add((mutation.record.__name__, mutation.field))
    return met


def test_every_mutation_of_every_field_of_the_demo_is_reported(wren: Rig) -> None:
    kept = wren._replace(skeleton=wren.skeleton[:3])  # one joint is like another
    assert len(assert_all_told(kept)) > 100


def records() -> dict[str, Any]:
    """Every record that a rig is made of."""
    return {
        name: kind
        for module in MODULES
        for name, kind in vars(module).items()
        if inspect.isclass(kind)
        and hasattr(kind, "_fields")
        and kind.__module__ == module.__name__
        and name not in NO_PART_OF_A_RIG
    }


def test_every_field_of_every_record_that_there_is_can_be_told() -> None:
    met = assert_all_told(rig_with_everything())
    wanted = {
        (name, field)
        for name, record in records().items()
        for field, hint in get_type_hints(record).items()
        # A field that always holds a record is mutated by way of that record's fields.
        if not all(hasattr(kind, "_fields") for kind in get_args(hint) or (hint,))
    }
    assert wanted - met == set()


@given(rigs())
@settings(max_examples=40, deadline=None)
def test_a_rig_does_not_differ_from_itself(rig: Rig) -> None:
    assert facts(rig, rig) == ()
    again = pickle.loads(pickle.dumps(rig))
    assert compare({"": CharacterState("a", rig)}, {"": CharacterState("b", again)}).changes == ()


@given(rigs(), rigs())
@settings(max_examples=20, deadline=None, phases=(Phase.generate,))
def test_any_two_rigs_can_be_compared_and_back(one: Rig, other: Rig) -> None:
    assert bool(facts(one, other)) == bool(facts(other, one)) == (one != other)
    assert bool(told(one, other)) == (one != other)


WRITTEN = """plica 1
character stick {
    skeleton {
        joint hips at 0 m, 0.9 m, 0 m
        joint knee_lf under hips at  10 cm, -40 cm, 0 cm
        joint knee_rt under hips at -10 cm, -40 cm, 0 cm
    }
    left "*_lf"
    right "*_rt"
}
driver bent both { reads rotation about x of knee   span 0 deg .. 130 deg }
combine twice both = sum(bent, bent)
expect { rest }
"""
OTHERWISE = """plica 1
// the same, in another order and layout
expect { rest }
combine twice both = sum( bent , bent )
driver bent both {
    span   0 deg .. 130 deg   // all the way

    reads  rotation about x of knee
}
character stick {
    right "*_rt"   left "*_lf"
    skeleton {
        joint hips at 0 m, 900 mm, 0 m
        joint knee_lf under hips at  10 cm, -40 cm, 0 cm
        joint knee_rt under hips at -10 cm, -40 cm, 0 cm
    }
}
"""


def test_layout_comments_and_order_are_no_changes() -> None:
    one, other = compile_text(WRITTEN).rig, compile_text(OTHERWISE).rig
    assert one is not None and other is not None
    assert told(one, other) == []
