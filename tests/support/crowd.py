"""A project of many characters that share libraries, made by code: a few leads, some others, and a crowd."""

from __future__ import annotations

from pathlib import Path

from tests.support.models import document_of, figure, write_model

LEADS, OTHERS = 5, 45
SIZES = (60, 12, 4)
"""Uses of libraries, and as many drivers and half as many combinations, of a lead, one of the others and the crowd."""

_LIBRARIES = {
    "limb": """plica 1
parameter joint
parameter axis  = x
parameter reach = 120 deg
curve soft = 0 0, 0.5 0.35, 1 1
driver bend both { reads rotation about {axis} of {joint}   span 0 deg .. {reach}   curve soft }
region skin both { skin of {joint}   feather 8 mm }
shape hold both { within skin   follows bend }
expect both { reach bend   over bend }
""",
    "twist": """plica 1
parameter joint
driver twist both { reads rotation about y of {joint}   span 0 deg .. 70 deg   curve smooth }
driver sway both { reads rotation about z of {joint}   span 5 deg .. 80 deg }
combine both_ways both = greatest(twist, sway)
""",
    "spine": """plica 1
parameter joint
driver lean { reads bend of {joint}   span 0 deg .. 40 deg   curve ease-in-out }
""",
}

_SETTINGS = """[[accept]]
finding = "unused-strength"
because = "no mesh follows here"
[[accept]]
finding = "not-sculpted"
because = "to be sculpted later"
"""


def crowd(root: Path, count: int = 200, sizes: tuple[int, int, int] = SIZES) -> Path:
    """Write the project and give its folder. One library, `spine`, is used by every tenth character alone."""
    (root / "library").mkdir(parents=True, exist_ok=True)
    (root / "plica.toml").write_text(_SETTINGS, "utf-8")
    for name, text in _LIBRARIES.items():
        (root / "library" / f"{name}.plica").write_text(text, "utf-8")
    document = document_of(figure())
    for number in range(count):
        rank = 0 if number < LEADS else 1 if number < LEADS + OTHERS else 2
        name = f"{('lead', 'other', 'crowd')[rank]}_{number:03}"
        folder = root / "characters" / name
        folder.mkdir(parents=True, exist_ok=True)
        write_model(folder / f"{name}.gltf", document)
        (folder / f"{name}.plica").write_text(_spec(name, sizes[rank], number % 10 == 0), "utf-8")
    return root


def _spec(name: str, size: int, with_spine: bool) -> str:
    joints = sorted({joint.name.rpartition("_")[0] for joint in figure().joints if joint.name.endswith("_l")})
    lines = ["plica 1", f"character {name} {{", f'    geometry "{name}.gltf"', "    symmetry across x"]
    lines += ['    left "*_l"', '    right "*_r"', "}"]
    for number in range(size):
        joint = joints[number % len(joints)]
        library = ("limb", "twist")[number % 2]
        lines.append(f'use "../../library/{library}.plica" as part_{number} with {{ joint = {joint} }}')
        lines.append(f"driver own_{number} both {{ reads bend of {joint}   span 0 deg .. {40 + number % 60} deg }}")
        if number % 2:
            lines.append(f"combine pair_{number} both = product(own_{number}, own_{number - 1})")
    if with_spine:
        lines.append('use "../../library/spine.plica" as back with { joint = spine }')
    return "\n".join(lines) + "\n"
