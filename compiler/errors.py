"""What `import plica` raises where it is used wrongly.

Mistakes in a user's files are never raised: they are diagnostics on the results. All errors are `PlicaError`s; their
messages say what was wrong and what to do instead.
"""

from __future__ import annotations


class PlicaError(Exception):
    """The base of everything that the functions of `plica` raise on purpose."""


class NoRigError(PlicaError):
    """A rig is needed, and the spec has errors or describes no character; its `diagnostics` say which."""


class NoMeshError(PlicaError):
    """A mesh is needed, and the spec names none or it could not be read."""


class UnknownNameError(PlicaError, LookupError):
    """A joint, control, strength, shape or axis that the rig does not have."""


class ArrayError(PlicaError, ValueError):
    """Values of poses that have another shape than they must have, or that are not finite numbers."""


class UnreachablePoseError(PlicaError):
    """A strength that no pose gives: an amount beyond what its curve reaches, or strengths that exclude each other."""


class NothingBuiltError(PlicaError):
    """Files are to be written or compared, and the build had errors; its `diagnostics` say which."""


class PortTakenError(PlicaError):
    """A port of this machine that is not free, or that this user may not serve at."""
