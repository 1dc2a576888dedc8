"""Three otters of the river post and the library that they share, for tests of what a change does."""

from __future__ import annotations

from pathlib import Path

from plica.diagnostics import Diagnostics
from plica.diff.character_states import Options, read_both
from plica.diff.comparison import compare
from plica.diff.report import Report

LIBRARY = "library/limb.plica"
TITLES = {"dot": "Dot, who rows", "moss": "Moss, who sorts", "wren": "Wren, the otter who runs the river post"}
FILES = ("swell.npz", "bulge.npz", "brow.npz", "raise.npz", "r.png", "c.png")

LIMB = """plica 1
// What every otter's front leg does.
parameter most = 130 deg
parameter fingers
curve soft = 0 0, 0.5 0.35, 1 1

driver elbow both {
    reads  rotation about z of lowerarm
    span   0 deg .. {most}
    curve  soft
}
driver wrist both { reads bend of paw   span 0 deg .. 70 deg }
region forearm both { skin of lowerarm   feather 12 mm }
combine press both = product(elbow, wrist)
each finger in fingers {
    driver {finger}_curl both {
        reads  rotation about z of {finger}
        span   0 deg .. 80 deg
    }
}
expect both { volume of forearm within 4 %   over elbow }
"""

CHARACTER = """plica 1
character {name} "{title}" {{
    skeleton {{
        joint spine at 0 m, 1 m, 0 m
        joint head under spine at 0 m, 30 cm, 0 m
        joint upperarm_lf under spine    at  20 cm, 10 cm, 0 m
        joint lowerarm_lf under upperarm_lf at 25 cm, 0 m, 0 m
        joint paw_lf      under lowerarm_lf at 20 cm, 0 m, 0 m
        joint index_lf    under paw_lf at 4 cm, 0 m, 1 cm
        joint ring_lf     under paw_lf at 4 cm, 0 m, -1 cm
        joint upperarm_rt under spine    at -20 cm, 10 cm, 0 m
        joint lowerarm_rt under upperarm_rt at -25 cm, 0 m, 0 m
        joint paw_rt      under lowerarm_rt at -20 cm, 0 m, 0 m
        joint index_rt    under paw_rt at -4 cm, 0 m, 1 cm
        joint ring_rt     under paw_rt at -4 cm, 0 m, -1 cm
    }}
    symmetry across x
    left   "*_lf"
    right  "*_rt"
}}
use "../library/limb.plica" with {{
    fingers = index, ring
}}
control mood {{ range -1 .. 1   rest 0 }}
driver frown {{ reads control mood   span 0 .. 1 }}
driver nod {{ reads bend of head   span 0 deg .. 40 deg   note "as far as the collar lets it" }}
field lift both {{
    reads  rotation of upperarm
    sample up    at about z 60 deg
    sample back  at about y 40 deg
}}
shape swell both {{ sculpt "swell.npz" posed at elbow 1   within forearm   follows elbow }}
shape bulge both {{ sculpt "bulge.npz" posed at about z of lowerarm 100 deg   within forearm   follows elbow }}
shape brow {{ sculpt "brow.npz"   follows frown }}
shape raise both {{ sculpt "raise.npz"   follows lift.up }}
detail fur {{ relaxed "r.png"   contracted "c.png"   budget 2 MiB }}
fold veins both {{ in fur   area forearm   follows press }}
pose reaching both {{ at elbow 0.5, about x of upperarm 20 deg }}
expect both {{ stretch of forearm at most 30 %   over elbow, pose reaching }}
expect {{ rest }}
"""


def spec_of(name: str) -> str:
    """Where a character's spec lies."""
    return f"characters/{name}.plica"


def post(folder: Path) -> Path:
    """The three characters and their library in a folder."""
    (folder / "characters").mkdir(parents=True)
    (folder / "library").mkdir()
    (folder / LIBRARY).write_text(LIMB, "utf-8")
    for name, title in TITLES.items():
        (folder / spec_of(name)).write_text(CHARACTER.format(name=name, title=title), "utf-8")
    for file in FILES:
        (folder / "characters" / file).write_bytes(b"x")
    return folder


def edited(folder: Path, file: str, old: str, new: str) -> None:
    """Another text in place of one that stands in a file."""
    text = (folder / file).read_text("utf-8")
    assert old in text, old
    (folder / file).write_text(text.replace(old, new), "utf-8")


def report_of(old: Path, new: Path) -> Report:
    """What differs between two such folders; nothing is measured on meshes."""
    from contextlib import ExitStack

    diagnostics = Diagnostics()
    with ExitStack() as mirrors:
        libraries = (old / "library", new / "library")
        report = compare(*read_both(str(old), str(new), Options(libraries, measure=False), diagnostics, mirrors))
    assert not diagnostics.all
    return report
