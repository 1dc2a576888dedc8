"""Whole declarations to fill in, for editors that can: `${1:name}` is a place to fill in, with what stands there first.

The form is that of the Language Server Protocol 3.17 ("Snippet Syntax").
"""

from __future__ import annotations

from typing import Final

DECLARATIONS: Final = {
    "character": """character ${1:name} {
    geometry  "${2:model.glb}" mesh "${3:skin}"
    symmetry  across ${4:x}
    left      "${5:*_lf}"
    right     "${6:*_rt}"
}""",
    "driver": """driver ${1:name} both {
    reads  rotation about ${2:x} of ${3:joint_of_a_pair}
    span   0 deg .. ${4:90} deg
}""",
    "region": """region ${1:name} both { skin of ${2:joint_of_a_pair}   feather ${3:10} mm }""",
    "shape": """shape ${1:name} both {
    sculpt   "${2:sculpts/name.npz}"  posed at ${3:strength} 1
    within   ${4:area}
    follows  ${3:strength}
}""",
    "combine": "combine ${1:name} both = product(${2:first}, ${3:second})",
    "control": "control ${1:name} { range ${2:0} .. ${3:1} }",
    "field": """field ${1:name} both {
    reads   rotation of ${2:joint_of_a_pair}
    sample  ${3:raised}  at about ${4:z} ${5:80} deg
}""",
    "detail": """detail ${1:name} {
    relaxed     "${2:maps/relaxed.png}"
    contracted  "${3:maps/contracted.png}"
}""",
    "fold": "fold ${1:name} both { in ${2:detail_map}   area ${3:region_of_skin}   follows ${4:strength} }",
    "pose": "pose ${1:name} { at ${2:strength} ${3:1} }",
    "expect": "expect both { volume of ${1:region_of_skin} within ${2:4} %  over ${3:strength} }",
    "each": """each ${1:finger} in ${2:index, middle, ring} {
    $0
}""",
    "use": 'use "${1:library.plica}" as ${2:prefix} with { ${3:name} = ${4:value} }',
    "curve": "curve ${1:name} = ${2:0 0, 0.5 0.35, 1 1}",
    "parameter": "parameter ${1:name}",
}
