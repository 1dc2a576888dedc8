"""The steps to which every computed number is rounded before it is written, so that its bytes are the same everywhere.

Sums, solves and functions such as the sine come from libraries, and their last digits differ between processors (width
of vectors, fused multiplication and addition). A written number differs only where its value lies within such a
difference of the middle between two steps. Measured between kernels of numpy and OpenBLAS, differences are at most
2e-14, and no number lies nearer to a middle than 5e-12. All steps are powers of two, so that rounded numbers are exact
in the single precision of the files.

What is decided rather than rounded (which joints move a vertex, which vertices a sculpt moves) is decided on rounded
numbers. The levels of the pictures are steps as they are.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from plica.picture.directions import Floats, Integers

SKIN: Final = 2.0**-20
"""Places of the skin and offsets of sculpts, in metres: about a micrometre."""
DIRECTION: Final = 2.0**-22
"""Parts of normals, and of the quaternions of clips."""
TEXTURE: Final = 2.0**-22
"""Texture coordinates, in widths of the texture."""
WEIGHT: Final = 2.0**-20
"""Skin weights."""
JOINT: Final = 2.0**-30
"""Translations, in metres, and parts of the quaternions of joints at rest, which glTF keeps in double precision."""
BIND: Final = 2.0**-23
"""Entries of inverse bind matrices."""
MOTION: Final = 2.0**-24
"""Translations of clips, in metres."""


def counted(values: Floats, step: float) -> Integers:
    """Values as whole numbers of steps."""
    return np.rint(values / step).astype(np.int64)


def rounded(values: Floats, step: float) -> Floats:
    """Values rounded to the nearest whole number of steps; zero has no sign."""
    return np.asarray(counted(values, step) * step, dtype=np.float64)


def rounded_quaternions(quaternions: Floats, step: float) -> Floats:
    """Quaternions (..., 4), x y z w, rounded; of the two for the same rotation the one whose last part that is not zero
    is positive, because the sign of a part near zero is left to chance.
    """
    values = rounded(quaternions, step)
    last = 3 - np.argmax(values[..., ::-1] != 0.0, axis=-1)
    signs = np.sign(np.take_along_axis(values, last[..., None], axis=-1))
    return values * signs + 0.0
