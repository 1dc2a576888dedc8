"""Whatever a text can say, a comparison tells when it changes: one case for each kind of fact and of declaration."""

from __future__ import annotations

import json
from pathlib import Path
from typing import NamedTuple, get_args

import pytest

from plica.diff.character_states import state_of
from plica.diff.comparison import compare
from plica.diff.judged_change import JudgedChange
from plica.diff.verdicts import Harm
from plica.kinds.combinations import COMBINATION_KINDS
from plica.kinds.curves import CURVE_KINDS
from plica.kinds.readings import READING_KINDS
from plica.kinds.region_sets import REGION_SETS
from plica.pipeline import compile_text
from plica.syntax import nodes
from plica.syntax.fact_kinds import FACT_KINDS
from plica.workspace import Workspace
from tests.support.cloth import SPEC as CLOTH
from tests.support.cloth import cloth
from tests.support.faces import ShownMesh, face

CHARACTER = """plica 1
character otter "Wren" {
    skeleton {
        joint spine at 0 m, 1 m, 0 m
        joint head under spine at 0 m, 30 cm, 0 m
        joint upperarm_lf under spine    at  20 cm, 10 cm, 0 m
        joint lowerarm_lf under upperarm_lf at 25 cm, 0 m, 0 m
        joint paw_lf      under lowerarm_lf at 20 cm, 0 m, 0 m
        joint upperarm_rt under spine    at -20 cm, 10 cm, 0 m
        joint lowerarm_rt under upperarm_rt at -25 cm, 0 m, 0 m
        joint paw_rt      under lowerarm_rt at -20 cm, 0 m, 0 m
    }
    symmetry across x
    left   "*_lf"
    right  "*_rt"
    // facts
}
use "limb.plica" with { joint = lowerarm }
curve soft = 0 0, 0.5 0.3, 1 1
control mood { range -1 .. 1   rest 0 }
driver frown { reads control mood   span 0 .. 1   curve soft }
driver wrist both { reads bend of paw   span 0 deg .. 70 deg }
driver nod { reads bend of head from spine   span 0 deg .. 40 deg }
combine press both = product(bend, wrist)
each part in head, spine { driver {part}_turn { reads rotation about y of {part}   span 0 deg .. 30 deg } }
region forearm both { skin of lowerarm   feather 12 mm }
region upper both { skin of upperarm }
field lift both { reads rotation of upperarm   sample up at about z 60 deg   sample back at about y 40 deg }
shape swell both { sculpt "swell.npz" posed at bend 1   within forearm   follows bend   threshold 0.1 mm }
detail fur { relaxed "r.png"   contracted "c.png"   budget 2 MiB }
fold veins both { in fur   area forearm   follows press }
pose reaching both { at bend 0.5 }
expect { rest }
"""
LIBRARY = """plica 1
parameter joint
parameter most = 130 deg
driver bend both { reads rotation about z of {joint}   span 0 deg .. {most} }
"""
SMALL = """plica 1
character otter {
    skeleton {
        joint spine at 0 m, 1 m, 0 m
        joint arm_lf under spine at  10 cm, 0 m, 0 m
        joint arm_rt under spine at -10 cm, 0 m, 0 m
        joint ear_l under spine at  5 cm, 20 cm, 0 m
        joint ear_r under spine at -5 cm, 20 cm, 0 m
    }
    // facts
}
driver nod { reads bend of spine   span 0 deg .. 40 deg }
"""
CLEARANCE = "clearance of forearm from upper"
COAT = 'detail coat { relaxed "r.png"   contracted "r.png" }'
FILES = ("swell.npz", "other.npz", "r.png", "c.png", "clip.bvh", "photo.jpg", "list.json")


class Edit(NamedTuple):
    """What is replaced by what in the text above; for a case of its own, what is put in place of `before` first.

    `harm`: the worst that is told of it; None for anything but cosmetic.
    """

    before: str
    after: str
    harm: Harm | None = None
    base: tuple[str, str] | None = None


def fact(before: str, after: str, harm: Harm | None = None) -> Edit:
    """A fact of the character: from one to another."""
    return Edit(before, after, harm, ("    // facts\n", f"    {before}\n"))


def expected(before: str, after: str) -> Edit:
    """An expectation: from one to another."""
    return Edit(before, after, None, ("expect { rest }", f"expect both {{ {before} }}\nexpect {{ rest }}"))


def found(before: str, after: str) -> Edit:
    """A fact of a region that is found from deformation: from one to another."""
    source = "" if before.startswith(("shortened", "lengthened")) else "shortened by swell   "
    return Edit(before, after, None, ("skin of upperarm }", f"{source}{before} }}"))


EDITS: dict[str, Edit] = {
    # ---- the character
    "skeleton": Edit("joint head under spine at 0 m, 30 cm", "joint head under spine at 0 m, 32 cm"),
    "names": fact('names "{side}_{name}"', 'names "{name}_{side}"'),
    "sides": fact('sides "left", "right"', 'sides "l", "r"'),
    "tolerance": fact("tolerance 1 mm", "tolerance 2 mm"),
    "band": fact("band 1 mm", "band 2 mm"),
    "skinning_linear": fact("skinning linear", "skinning dual quaternion"),
    "skinning_dual": fact("skinning dual quaternion", "skinning linear"),
    "alias": fact('alias "Head" = head', 'alias "Head" = spine'),
    # ---- regions
    "skin_of": Edit("skin of lowerarm ", "skin of lowerarm and below "),
    "painted": Edit("skin of upperarm", 'painted "r.png" uv "skin"'),
    "vertices": Edit("skin of upperarm", 'vertices "list.json"'),
    "region_set": Edit("skin of upperarm", "union of forearm, left forearm"),
    "deformed_by": found("shortened by swell", "lengthened by swell"),
    "deformed_posed": found("shortened posed at bend 1", "shortened posed at bend 1 without shapes"),
    "area_span": found("span 20 % .. 60 %", "span 20 % .. 60 % of length"),
    "peak": found("peak of 1 cm2", "peak of 2 cm2"),
    "smoothing": found("smoothing 3 mm", "smoothing 4 mm"),
    "islands": found("islands at least 1 cm2", "islands at least 1 mm2"),
    "along_axis": found("along x of upperarm", "along y of upperarm"),
    "across_axis": found("across x of upperarm", "along x of upperarm"),
    "along_bone": found("along bone of upperarm", "along bone of spine"),
    "across_bone": found("across bone of upperarm", "along bone of upperarm"),
    "feather": Edit("feather 12 mm", "feather 14 mm"),
    # ---- drivers, controls, fields
    "reads": Edit("reads bend of paw", "reads bend of upperarm"),
    "span": Edit("0 deg .. 70 deg", "0 deg .. 75 deg"),
    "response": Edit("curve soft }", "curve linear }"),
    "unclamped": Edit("span 0 deg .. 70 deg", "span 0 deg .. 70 deg   unclamped"),
    "control_range": Edit("range -1 .. 1", "range -1 .. 2"),
    "control_rest": Edit("rest 0 }", "rest 0.5 }"),
    "field_rotation": Edit("reads rotation of upperarm ", "reads rotation of lowerarm "),
    "field_direction": Edit("reads rotation of upperarm ", "reads direction x of upperarm "),
    "sample": Edit("about z 60 deg", "about z 70 deg"),
    "kernel": Edit("sample back", "kernel gaussian   sample back"),
    # ---- shapes, details, folds
    "sculpt": Edit("posed at bend 1", "posed at bend 0.5"),
    "morph": Edit('sculpt "swell.npz" posed at bend 1', 'morph "swell"'),
    "inbetween": Edit("within forearm", 'inbetween 0.5 "other.npz"   within forearm'),
    "within": Edit("within forearm", "within upper"),
    "follows": Edit("follows press", "follows wrist"),
    "threshold": Edit("threshold 0.1 mm", "threshold 0.2 mm"),
    "draft_volume": Edit("threshold 0.1 mm", "threshold 0.1 mm   draft volume 98 %"),
    "draft_nearness": Edit("threshold 0.1 mm", "threshold 0.1 mm   draft nearness 5"),
    "draft_border": Edit("threshold 0.1 mm", "threshold 0.1 mm   draft border 4 cm"),
    "draft_gap": Edit("threshold 0.1 mm", "threshold 0.1 mm   draft gap 1 mm"),
    "draft_inbetweens": Edit("threshold 0.1 mm", "threshold 0.1 mm   draft inbetweens 2"),
    "one_sided": Edit("threshold 0.1 mm", "threshold 0.1 mm   one-sided"),
    "two_sided": Edit("one-sided", "two-sided", None, ("threshold 0.1 mm", "threshold 0.1 mm   one-sided")),
    "relaxed": Edit('relaxed "r.png"', 'relaxed "c.png"'),
    "contracted": Edit('contracted "c.png"', 'contracted "r.png"'),
    "uv": Edit('contracted "c.png"', 'contracted "c.png"   uv "skin"'),
    "budget": Edit("budget 2 MiB", "budget 1 MiB"),
    "mixing": Edit("budget 2 MiB", "budget 2 MiB   mixing reoriented"),
    "in_detail": Edit(
        "in fur", "in coat", None, ("fold veins", 'detail coat { relaxed "r.png" contracted "r.png" }\nfold veins')
    ),
    "area": Edit("area forearm", "area upper"),
    # ---- poses and what is expected
    "pose_at": Edit("at bend 0.5 }", "at bend 0.5, about x of upperarm 20 deg }"),
    "expect_volume": expected("volume of forearm within 4 %", "volume of forearm within 6 %"),
    "expect_girth": expected("girth of forearm within 4 %", "girth of forearm within 6 %"),
    "expect_area": expected("area of forearm within 4 %", "area of forearm border 20 % within 4 %"),
    "expect_stretch": expected("stretch of forearm at most 30 %", "stretch of forearm at most 30 % on 90 %"),
    "expect_squeeze": expected("squeeze of forearm at most 30 %", 'squeeze of forearm uv "skin" at most 30 %'),
    "expect_shear": expected("shear of forearm at most 30 deg", "shear of forearm at most 30 deg over bend"),
    "expect_clearance": expected(
        "clearance of forearm from upper at least 2 mm", "clearance of forearm from upper at least 1 mm"
    ),
    "expect_crossing": expected("crossing of forearm none", "crossing of forearm none over pose reaching"),
    "expect_smooth": expected("smooth wrist within 10 %", "smooth wrist within 20 %"),
    "expect_reach": expected("reach wrist", 'reach wrist over clip "clip.bvh"'),
    "expect_overlap": expected("overlap of fur at most 3", "overlap of fur at most 4"),
    "expect_moved": expected("moved of swell at most 3", "moved of swell at most 4"),
    "expect_even_skin": expected("even of forearm within 5 mm", "even of forearm within 9 mm"),
    "expect_shapes_on": expected("shapes on at most 5", "shapes on at most 9"),
    "expect_shapes_size": expected("shapes size at most 5 MiB", "shapes size at most 9 MiB"),
    "expect_shapes_moved": expected("shapes moved at most 5", "shapes moved at most 9"),
    "expect_even": Edit("expect { rest }\n", "expect { rest   even }\n"),
    "expect_rest": Edit("expect { rest }\n", "expect { partition }\n"),
    "expect_file_rest": Edit("expect { rest }\n", "expect { file rest }\n"),
    "expect_partition": Edit("expect { rest }\n", "expect { rest   partition }\n"),
    "expect_budget": Edit("expect { rest }\n", "expect { rest   budget }\n"),
    # ---- what any declaration may hold
    "note": Edit("span 0 deg .. 70 deg", 'span 0 deg .. 70 deg   note "stiff"', Harm.COSMETIC),
    "photo": Edit("span 0 deg .. 70 deg", 'span 0 deg .. 70 deg   photo "photo.jpg"', Harm.COSMETIC),
    "renamed_from": Edit("driver wrist both {", "driver wrist both { renamed from paw_bend  ", Harm.COSMETIC),
    "accept": Edit("span 0 deg .. 70 deg", 'span 0 deg .. 70 deg   accept unused-strength because "the set reads it"'),
    "strength": Edit("product(bend, wrist)", "least(bend, wrist)"),
}

PATTERNS = Edit(
    'left "*_lf"   right "*_rt"',
    'left "*_lf", "*_l"   right "*_rt", "*_r"',
    None,
    ("// facts", 'left "*_lf"   right "*_rt"'),
)
SMALL_EDITS: dict[str, Edit] = {
    "symmetry": fact("symmetry across x", "symmetry across z"),
    "pair": fact("tolerance 1 mm", "tolerance 1 mm   pair arm_lf, arm_rt as arm"),
    "pairs_by_position": fact("tolerance 1 mm", "tolerance 1 mm   pairs by position with left toward +x"),
    "left_pattern": PATTERNS,
    "right_pattern": PATTERNS,
}
"""The same for facts about sides, in a text of few joints."""

POSED = ('mesh "skin" }', 'mesh "skin"   stance bind pose }')
CLOTH_EDITS: dict[str, Edit] = {
    "geometry": Edit(' mesh "skin"', "", None, POSED),
    "stance": Edit("stance bind", "stance rest", None, POSED),
    "unit": Edit("stance bind pose", "stance bind pose   unit 1 cm", None, POSED),
}
"""The same for facts about a model, in the text of the cloth."""

DECLARATIONS: dict[str, Edit] = {
    "Block": Edit("driver nod { reads bend of head from spine   span 0 deg .. 40 deg }\n", ""),
    "CombineDeclaration": Edit("= product(bend, wrist)", "= sum(bend, wrist)"),
    "CurveDeclaration": Edit("0.5 0.3,", "0.5 0.4,"),
    "UseLibrary": Edit("joint = lowerarm }", "joint = lowerarm   most = 120 deg }"),
    "Parameter": Edit("most = 130 deg", "most = 110 deg"),
    "Override": Edit("expect { rest }", "override driver wrist right { span 0 deg .. 60 deg }\nexpect { rest }"),
    "Each": Edit("in head, spine {", "in head {"),
}

READINGS: dict[str, str] = {
    "rotation": "rotation about y of paw",
    "bend": "bend of lowerarm",
    "swing": "swing toward y of paw along x",
    "euler": "euler x order xyz of paw",
    "offset": "offset y of paw",
    "scale": "scale along x of paw",
    "gap": "gap of paw from head",
    "control": "control mood",
    "weight": 'weight of "smile"',
}
FACE = 'plica 1\ncharacter otter { geometry "face.gltf" }\ndriver pull { reads weight of "smile"   span 0 .. 1 }\n'
CURVES = {"linear": "linear", "points": "linear 0 0, 0.5 0.1, 1 1", "hermite": "smooth", "bezier": "bezier 0.1 0 0.9 1"}
"""A curve of each record."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the library and the files that are named."""
    (tmp_path / "limb.plica").write_text(LIBRARY, "utf-8")
    for name in FILES:
        (tmp_path / name).write_bytes(b"x")
    return tmp_path


def told(edit: Edit, folder: Path, text: str = CHARACTER) -> tuple[JudgedChange, ...]:
    """What is told of an edit."""
    if edit.base is not None:
        assert edit.base[0] in text, edit.base[0]
        text = text.replace(*edit.base)
    library = LIBRARY if edit.before in LIBRARY and edit.before not in text else None
    states = []
    for new in (False, True):
        if library is not None and new:
            (folder / "limb.plica").write_text(library.replace(edit.before, edit.after), "utf-8")
        else:
            assert edit.before in (library or text), edit.before
        changed = text if library is not None or not new else text.replace(edit.before, edit.after)
        compiled = compile_text(changed, "otter.plica", Workspace(folder))
        assert compiled.rig is not None, [one.message for one in compiled.diagnostics if one.severity == "error"]
        states.append({"": state_of(compiled, "otter.plica")})
    return compare(*states).changes


def is_told(edit: Edit, changes: tuple[JudgedChange, ...]) -> None:
    """Whether it is told, as bad as it should be, and at a place."""
    assert changes, "silent"
    worst = min(change.harm for change in changes)
    assert worst < Harm.COSMETIC if edit.harm is None else worst is edit.harm, [one.verdicts for one in changes]
    assert all(change.place is not None for change in changes)
    assert not any(change.kind == "text" for change in changes), "told once as what it is and once as a text"


def test_every_kind_of_fact_has_a_case() -> None:
    assert FACT_KINDS.keys() == EDITS.keys() | SMALL_EDITS.keys() | CLOTH_EDITS.keys()
    assert {one.__name__ for one in get_args(nodes.Declaration)} == DECLARATIONS.keys()
    assert READING_KINDS.keys() == READINGS.keys()
    assert {kind.__name__.lower() for kind in CURVE_KINDS} == CURVES.keys()


@pytest.mark.parametrize("key", EDITS)
def test_a_change_of_every_kind_of_fact_is_told(key: str, folder: Path) -> None:
    is_told(EDITS[key], told(EDITS[key], folder))


@pytest.mark.parametrize("key", SMALL_EDITS)
def test_a_change_of_every_fact_about_sides_is_told(key: str, folder: Path) -> None:
    is_told(SMALL_EDITS[key], told(SMALL_EDITS[key], folder, SMALL))


@pytest.mark.parametrize("key", CLOTH_EDITS)
def test_a_change_of_every_fact_about_a_model_is_told(key: str, tmp_path: Path) -> None:
    cloth(tmp_path)
    model = json.loads((tmp_path / "cloth.gltf").read_bytes())
    model["nodes"][1]["rotation"] = [0.0871557427, 0.0, 0.0, 0.9961946981]  # the file's rest is not the bind pose
    (tmp_path / "cloth.gltf").write_text(json.dumps(model), "utf-8")
    is_told(CLOTH_EDITS[key], told(CLOTH_EDITS[key], tmp_path, CLOTH))


@pytest.mark.parametrize("key", DECLARATIONS)
def test_a_change_of_every_kind_of_declaration_is_told(key: str, folder: Path) -> None:
    is_told(DECLARATIONS[key], told(DECLARATIONS[key], folder))


@pytest.mark.parametrize("key", sorted(READINGS.keys() - {"weight"}))
def test_another_reading_of_every_kind_is_told(key: str, folder: Path) -> None:
    unit = {"offset": "mm", "gap": "mm", "scale": "%", "control": ""}.get(key, "deg")
    side = "driver pull { reads rotation about x of left paw   span 0 deg .. 9 deg }"
    reading = READINGS[key].replace("of paw", "of left paw").replace("of lowerarm", "of left lowerarm")
    edit = Edit(
        side, f"driver pull {{ reads {reading}   span 0 {unit} .. 9 {unit} }}", None, ("combine", f"{side}\ncombine")
    )
    is_told(edit, told(edit, folder))


def test_the_weight_of_another_morph_target_is_told(tmp_path: Path) -> None:
    face(tmp_path, {"skin": ShownMesh(("smile", "frown"))})
    edit = Edit(READINGS["weight"], 'weight of "frown"')
    is_told(edit, told(edit, tmp_path, FACE))


@pytest.mark.parametrize("key", CURVES)
def test_another_curve_of_every_kind_is_told(key: str, folder: Path) -> None:
    other = "ease-out" if key == "linear" else "linear"
    edit = Edit(f"curve {CURVES[key]} }}", f"curve {other} }}", None, ("curve soft }", f"curve {CURVES[key]} }}"))
    is_told(
        edit._replace(before="curve linear }", after="curve ease-out }") if key == "linear" else edit,
        told(edit, folder),
    )


@pytest.mark.parametrize("how", COMBINATION_KINDS)
def test_another_combination_of_every_kind_is_told(how: str, folder: Path) -> None:
    other = "least" if how != "least" else "sum"
    edit = Edit(f"{how}(bend, wrist)", f"{other}(bend, wrist)", None, ("product(bend, wrist)", f"{how}(bend, wrist)"))
    is_told(edit, told(edit, folder))


@pytest.mark.parametrize("how", REGION_SETS)
def test_regions_put_together_otherwise_are_told(how: str, folder: Path) -> None:
    other = "union" if how != "union" else "intersection"
    base = ("skin of upperarm }", f"{how} of forearm, left forearm }}")
    edit = Edit(f"{how} of", f"{other} of", None, base)
    is_told(edit, told(edit, folder))
