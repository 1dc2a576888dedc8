"""A small character declared in the text, for tests of what is said about it."""

from __future__ import annotations

from plica.diagnostics import Severity
from plica.pipeline import Compiled, compile_text
from plica.rig.rig import Rig

CHARACTER = """plica 1
character otter {
    skeleton {
        joint spine at 0 m, 1 m, 0 m
        joint head under spine at 0 m, 30 cm, 0 m
        joint upperarm_lf under spine    at  20 cm, 10 cm, 0 m  turned about z -40 deg
        joint lowerarm_lf under upperarm_lf at 25 cm, 0 m, 0 m
        joint paw_lf      under lowerarm_lf at 20 cm, 0 m, 0 m
        joint upperarm_rt under spine    at -20 cm, 10 cm, 0 m  turned about y 130 deg, about x 15 deg
        joint lowerarm_rt under upperarm_rt at 10 cm, 15 cm, 17.320508 cm  turned about z 33 deg
        joint paw_rt      under lowerarm_rt at 20 cm, 0 m, 0 m
    }
    symmetry across x
    left   "*_lf"
    right  "*_rt"
    accept uneven-rest-pose because "only the frames matter here"
    %s
}
"""


def compiled(text: str, facts: str = "") -> Compiled:
    """The compiled spec of this character with further declarations and further facts of the character."""
    return compile_text(CHARACTER % facts + text)


def rig_of(text: str, facts: str = "") -> Rig:
    """The same, where there must be no error."""
    result = compiled(text, facts)
    errors = [found.message for found in result.diagnostics if found.severity is Severity.ERROR]
    assert not errors, errors
    assert result.rig is not None
    return result.rig


def names_of(text: str, facts: str = "") -> list[str]:
    """The kebab names of what is found."""
    return [result.name for result in compiled(text, facts).diagnostics]
