"""The parts of a first spec that tell what the skin does: shapes, morph targets, expectations."""

from __future__ import annotations

from collections.abc import Sequence

from plica.start.bending_joints import BendingJoint
from plica.start.name_words import plain_name, unique_name, writable
from plica.syntax.builder import encode_text


def shape_sections(subjects: Sequence[BendingJoint]) -> list[list[str]]:
    """A shape to be sculpted for each joint."""
    if not subjects:
        return []
    lines = []
    for subject in subjects:
        within = f"within {subject.name} " if subject.body_part.region else ""
        lines.append(f"shape {subject.name}_corrective{subject.side} {{ {within}follows {subject.driver} }}")
    head = [
        "// Shapes: still to be sculpted. Give each its file, and take out the ones that the skin does not need:",
        '//     sculpt "sculpts/NAME.npz"  posed at DRIVER 1',
    ]
    return [[*head, *lines]]


def morph_sections(morph_targets: Sequence[str], subjects: Sequence[BendingJoint]) -> list[list[str]]:
    """A control, a driver and a shape for each morph target that the model brings."""
    names = [name for name in morph_targets if writable(name)]
    if not names:
        return []
    used: set[str] = set()
    for subject in subjects:
        for suffix in ("bend", "corrective"):
            unique_name(f"{subject.name}_{suffix}", used, paired=subject.paired)
    sections = [["// The model's own morph targets, each with a control for the animator."]]
    for morph in names:
        name = unique_name(plain_name(morph, "morph"), used)
        sections.append(
            [
                f"control {name} {{ range 0 .. 1 }}",
                f"driver {name} {{ reads control {name} span 0 .. 1 }}",
                f"shape {name} {{ morph {encode_text(morph)} follows {name} }}",
            ]
        )
    return sections


def expectation_sections(subjects: Sequence[BendingJoint]) -> list[list[str]]:
    """What has to hold, and what more can be asked for."""
    lines = ["expect { rest }  // every strength is exactly 0 in the neutral stance"]
    paired = [subject for subject in subjects if subject.paired and subject.body_part.region]
    if paired:
        lines += ["", "// Mirrored poses give the mirrored skin, as far as shapes move it."]
    lines += [f"expect both {{ even of {one.name} within 0.1 mm  over {one.driver} }}" for one in paired]
    limb = next((subject for subject in subjects if subject.part in ("elbow", "knee")), None)
    if limb is not None:
        lines += [
            "",
            "// Once shapes are sculpted, ask for more, and `plica prove` measures it on the mesh:",
            f"//     expect{limb.side} {{ volume of {limb.name} within 4 %  over {limb.driver} }}",
        ]
    return [lines]
