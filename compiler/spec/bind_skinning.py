"""How the character skins: as the spec says, as the model says, or linearly."""

from __future__ import annotations

from typing import Final

from plica.diagnostics import Diagnostics
from plica.readers.model_outline import MeshOutline, ModelOutline, listed
from plica.source import Span
from plica.spec.fact_sets import FactSet
from plica.values import SkinningMethod

_METHODS: Final[dict[str, SkinningMethod]] = {"skinning_linear": "linear", "skinning_dual": "dual quaternion"}
"""Kinds of facts."""


def bind_skinning(facts: FactSet, outline: ModelOutline | None, span: Span, diagnostics: Diagnostics) -> SkinningMethod:
    """How the skin follows its joints.

    A spec that says otherwise than the model's file is an error. Where the file says nothing, what its format means
    (glTF 2.0 section 3.7.3 and UsdSkel's fallback: linear) gives way to the spec, with a warning. `span`: the
    character's.
    """
    meshes = [mesh for mesh in outline.meshes if mesh.taken and mesh.skinning is not None] if outline else []
    fact = facts.one("skinning")
    if fact is None:
        methods = {mesh.skinning: mesh for mesh in reversed(meshes) if mesh.skinning is not None}
        if len(methods) > 1:
            diagnostics.add(
                "skinning-differs",
                span,
                linear=f"`{methods['linear'].name}`",
                dual=f"`{methods['dual quaternion'].name}`",
            )
        return next(iter(methods), "linear")
    stated = _METHODS[fact.node.key]
    other = [mesh for mesh in meshes if mesh.skinning != stated]
    if other:
        _report(stated, other, fact.scope.span(fact.node), diagnostics)
    return stated


def _report(stated: SkinningMethod, other: list[MeshOutline], span: Span, diagnostics: Diagnostics) -> None:
    """Meshes that the model skins otherwise than the spec says."""
    told = [mesh for mesh in other if mesh.skinning_stated]
    rule = "skinning-contradicts-model" if told else "skinning-beyond-model"
    meshes = told or other
    diagnostics.add(rule, span, stated=stated, model=meshes[0].skinning, meshes=listed([mesh.name for mesh in meshes]))
