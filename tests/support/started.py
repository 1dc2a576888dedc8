"""First specs of models, composed once for each model: a skin is measured for seconds, and several tests ask for it."""

from __future__ import annotations

from pathlib import Path

from plica.diagnostics import Diagnostics
from plica.mesh.computed_cache import ComputedCache
from plica.start import start_spec
from plica.start.compose import FirstSpec

_COMPOSED: dict[tuple[str, str | None, str], FirstSpec] = {}


def first_spec(model: Path, geometry: str | None = None) -> FirstSpec:
    """What `start_spec` makes of a model that can be read; of the same bytes under the same name only once."""
    key = model.name, geometry, ComputedCache().digest(model)
    if key not in _COMPOSED:
        diagnostics = Diagnostics()
        _COMPOSED[key] = start_spec(model, diagnostics, geometry)
        assert not diagnostics.has_errors
    return _COMPOSED[key]
