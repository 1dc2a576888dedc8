"""The parts of a first spec that tell what the skin does: shapes, morph targets, expectations."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from plica import foreign
from plica.kinds.expectations import EXPECTATION_KINDS
from plica.quantities import percent
from plica.start.bending_joints import BendingJoint
from plica.start.name_words import plain_name, unique_name, writable
from plica.start.skin_figures import MEASURED, BentRegion, BentSkin, SkinLook, stated_of
from plica.start.skin_words import bounds_text, fault_texts, limit_text, suffering_text
from plica.syntax.builder import encode_text

_SCULPT = (
    "// `plica pose` writes the skin in a shape's pose; `plica adopt` takes the sculpt in, and says the line to add:",
    '//     sculpt "sculpts/NAME.npz"  posed at DRIVER 1',
)


def bent_region_sections(subjects: Sequence[BendingJoint], regions: Mapping[str, BentRegion]) -> list[list[str]]:
    """The regions that were measured, of some joints."""
    lines = [
        f"region {subject.name}{subject.side} {{ skin of {', '.join(regions[subject.name].joints)} }}"
        for subject in subjects
        if subject.name in regions
    ]
    return [["// Regions: the skin that a joint bends.", *lines]] if lines else []


def weight_section(look: SkinLook) -> list[list[str]]:
    """What is wrong with the weights, before anything is sculpted."""
    lines = []
    for text in fault_texts(look):
        lines += [f"//     {text.whole}{':' if text.joints else ''}", *(f"//         {joint}" for joint in text.joints)]
    return [["// The skin weights come first; a sculpt would only hide this:", *lines]] if lines else []


def shape_sections(subjects: Sequence[BendingJoint], look: SkinLook) -> list[list[str]]:
    """A shape to be sculpted where the skin suffers, the worst first; for each joint where that is not known."""
    if not subjects:
        return []
    if look.why:
        return [_unmeasured(subjects, look.why)]
    by_driver = {subject.driver: subject for subject in subjects}
    suffering = [bent for bent in look.bent if bent.suffers]
    head = [
        "// What breaks first. Each joint was bent over its span on the mesh; its skin holds up with",
        f"// {bounds_text()}.",
    ]
    if suffering:
        head += [
            "// Where it does not, a shape is to be sculpted, the worst first, and `expect` states today's figure, so",
            "// that `plica prove` tells what a sculpt changes.",
            *_SCULPT,
        ]
    sections = [head]
    sections += [_suffering(by_driver[bent.driver], bent, bent.driver in look.at_fault) for bent in suffering]
    return [*sections, *_holding(by_driver, look.bent)]


def _unmeasured(subjects: Sequence[BendingJoint], why: str) -> list[str]:
    lines = []
    for subject in subjects:
        within = f"within {subject.name} " if subject.body_part.region else ""
        lines.append(f"shape {subject.name}_corrective{subject.side} {{ {within}follows {subject.driver} }}")
    head = [
        f"// The skin was not measured: {foreign.line(why)}.",
        "// Shapes: still to be sculpted. Take out the ones that the skin does not need.",
        *_SCULPT,
    ]
    return [*head, *lines]


def _suffering(subject: BendingJoint, bent: BentSkin, at_fault: bool) -> list[str]:
    """A shape, and what the skin does today."""
    first = "; its weights come first, see above" if at_fault else ""
    lines = [
        f"// {subject.name}: {suffering_text(bent)}{first}",
        f"shape {subject.name}_corrective{subject.side} {{ within {subject.name} follows {subject.driver} }}",
    ]
    shares = dict(MEASURED)
    for figure in stated_of(bent.figures):
        share = shares[figure.kind]
        bound = "within" if EXPECTATION_KINDS[figure.kind].ways else "at most"
        of_area = "" if share is None else f" on {percent(share)}"
        limit = f"{bound} {limit_text(figure)}{of_area}"
        fact = f"{figure.kind} of {subject.name} {limit}  over {subject.driver}"
        lines.append(f"expect{subject.side} {{ {fact} }}")
    return lines


def _holding(by_driver: dict[str, BendingJoint], bent: Sequence[BentSkin]) -> list[list[str]]:
    """Drivers without a shape: that they go from 0 to 1 is all that is asked of them."""
    sections = []
    unknown = [one for one in bent if one.unknown and not one.suffers]
    if unknown:
        told = [f"//     {by_driver[one.driver].name}: {foreign.line(_why(one))}" for one in unknown]
        sections.append(["// Not measured, so that nothing is known of the skin here:", *told])
    quiet = {one.driver for one in bent if not one.suffers}
    lists = {
        side: [driver for driver, subject in by_driver.items() if driver in quiet and subject.side == side]
        for side in (" both", "")
    }
    lines = [f"expect{side} {{ reach {', '.join(drivers)} }}" for side, drivers in lists.items() if drivers]
    if lines:
        known = "The skin holds up at the other joints" if not unknown else "The skin holds up at all others"
        sections.append([f"// {known}, as far as a few poses of each tell: drivers, and no shapes.", *lines])
    return sections


def _why(bent: BentSkin) -> str:
    return ", ".join(dict.fromkeys(f"{one.kind}: {one.why}" for one in bent.figures if one.worst is None))


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


def expectation_sections(subjects: Sequence[BendingJoint], look: SkinLook) -> list[list[str]]:
    """What has to hold, and what more can be asked for."""
    lines = ["expect { rest }  // every strength is exactly 0 in the neutral stance"]
    shaped = [subject for subject in subjects if look.why or subject.driver in look.suffering]
    paired = [subject for subject in shaped if subject.paired and subject.body_part.region]
    if paired:
        lines += ["", "// Mirrored poses give the mirrored skin, as far as shapes move it."]
    lines += [f"expect both {{ even of {one.name} within 0.1 mm  over {one.driver} }}" for one in paired]
    limb = next((subject for subject in shaped if subject.part in ("elbow", "knee")), None)
    if limb is not None:
        lines += [
            "",
            "// Once shapes are sculpted, ask for more, and `plica prove` measures it on the mesh:",
            f"//     expect{limb.side} {{ volume of {limb.name} within 4 %  over {limb.driver} }}",
            f"//     expect{limb.side} {{ crossing of {limb.name} none  over {limb.driver} }}",
        ]
    return [lines]
