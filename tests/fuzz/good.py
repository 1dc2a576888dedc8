"""A text with one of everything in it, and scraps of texts."""

from __future__ import annotations

# One of everything, so that mutations reach every rule of the grammar.
GOOD = """plica 1
// Wren, who runs the river post
character wren "Wren" {
    geometry  "wren.glb" mesh "skin"
    skeleton {
        joint root at 0 mm, 0 mm, 0 mm
        joint arm_lf under root at 10 mm, 0 mm, 0 mm turned about x 20 deg
    }
    symmetry  across x at 0 mm
    left      "*_lf"
    right     "*_rt"
    pair      left_eye, right_eye
    alias     "Arm" = arm_lf
}
use "library/hand.plica" as hand with { fingers = index, middle  count = 1 .. 4 }
parameter curl = 80 deg { note "how far a finger bends" }
curve half = 0 0, 0.5 0.35, 1 1
region forearm both { skin of lowerarm and below  feather 12 mm }
region brow { painted "masks/brow.png" uv "skin" }
region both_of_them { union of forearm, brow }
driver elbow both {
    reads  rotation about x of lowerarm
    span   0 deg .. 130 deg
    curve  0 0, 0.5 0.35, 1 1
}
driver gap { reads gap of hand from arm  span 0 mm .. 40 mm  curve bezier 0.2 0 0.8 1  unclamped }
control mood { range 0 .. 1  rest 0 }
field shoulder both {
    reads rotation of upperarm
    sample raised at about z 90 deg, about x 10 deg
    kernel gaussian 40 deg
}
each finger in index, middle, {prefix}_little {
    driver {finger}_base both { reads rotation about (0.2, 1, 0) in parent of {finger}_1  span 0 deg .. {curl} }
    shape {finger}_knuckle both { sculpt "s/{finger}.npz" posed at elbow 1  follows {finger}_base }
}
combine fist both = product(index_base, least(middle_base, elbow))
override driver elbow left { span 0 deg .. 120 deg }
detail fur { relaxed "r.png"  contracted "c.png"  uv "skin"  budget 2 MiB }
fold muzzle both { in fur  area brow  follows elbow }
expect both { volume of forearm within 4 %  over elbow }
expect { clearance of forearm from brow at least 0.5 mm  over clip "clips/rounds.glb" }
expect {rest}
"""
SCRAPS = [
    "{", "}", "(", ")", ",", "=", "..", '"', "//", "\n", " ", "\0", "\ud800", "\ufeff", "é", "手", "0", "-1e9",
    "deg", "both", "each", "driver", "region", "{x}", "use ", "\\", "\r", "1 ", "plica 1", "expect {", "🦦",
]  # fmt: skip
