"""Which layers an OpenUSD model may open, decided before it is composed. Runs in the process that reads one model.

Every asset path of a composition arc is resolved by the library's own rules without opening it, and opened only where
it is an OpenUSD file in or below the model's folder. What may not be opened is muted while the stage is composed: arcs
of variants that are not chosen do no harm, every other arc that leads nowhere is an error, because the model would lack
what it names (openusd.org/release/glossary.html, composition arcs). Value clips add nothing to default values, which
are all that is read here; their files are not opened.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from math import inf
from pathlib import Path
from typing import NamedTuple

from pxr import Ar, Pcp, Sdf, Tf, Usd

from plica import file_names
from plica.limits import Limits
from plica.readers.gltf_document import open_regular
from plica.readers.model_outline import UnreadableModel

USD_ENDINGS = (".usd", ".usda", ".usdc", ".usdz")
CLIP_FIELDS = (
    "clips",
    "clipSets",
    "clipAssetPaths",
    "clipManifestAssetPath",
    "clipTemplateAssetPath",
    "clipPrimPath",
    "clipActive",
    "clipTimes",
)
DAMAGED = "is damaged, or not OpenUSD"
OUTSIDE = "lies outside its folder"
LONGEST_SHOWN = 200  # characters of a foreign text in a message


class Unusable(Exception):  # noqa: N818 - it names the state of a file, not a fault of ours
    """Why the model cannot be used, in the user's words."""


class Beyond(Exception):  # noqa: N818
    """A limit that the model goes beyond, by its name."""


class Composed(NamedTuple):
    """A stage whose root layer is its only sublayer, and sentences about what was left out of it."""

    stage: Usd.Stage
    problems: tuple[str, ...]


def compose(path: Path, limits: Limits, files: list[Path]) -> Composed:
    """The stage of a file, every arc followed. `files` takes the files that it is made of, as they are met.

    Raises Unusable, Beyond and what the library raises.
    """
    context = Ar.DefaultResolverContext([str(path.parent)])
    with Ar.ResolverContextBinder(context):
        layers = _Layers(path, limits, files)
        root = layers.open_all()
        _check_sublayers(root, layers)
        above = _above(root)
        _check_prims(above, context, layers, limits.usd_prims)
        stage = Usd.Stage.Open(Sdf.Layer.CreateAnonymous(".usda"), None, context, Usd.Stage.LoadAll)
        stage.MuteAndUnmuteLayers(list(layers.refused), [])
        stage.GetRootLayer().TransferContent(above)
    _check_layers(stage, layers)
    return Composed(stage, tuple(layers.problems))


class _Layers:
    """The layers of one model: those that were opened, and why others may not be."""

    def __init__(self, path: Path, limits: Limits, files: list[Path]) -> None:
        self._path, self._limits, self._files = path, limits, files
        self._folders = (path.parent, path.parent.resolve())
        self.opened: dict[str, Sdf.Layer] = {}
        self.refused: dict[str, str] = {}
        self.problems: list[str] = []

    def open_all(self) -> Sdf.Layer:
        """The root layer, after it and every layer that it leads to were opened."""
        self._files.append(self._path)
        root = self._open(str(self._path))
        if root is None:
            raise Unusable(f"it {DAMAGED}")
        pending = [root]
        while pending:
            layer = pending.pop()
            for named in layer.GetCompositionAssetDependencies():
                result = self._follow(layer, named) if named else None  # without a name: an arc within the layer
                if result is not None:
                    pending.append(result)
        return root

    def _follow(self, layer: Sdf.Layer, named: str) -> Sdf.Layer | None:
        """The layer that an asset path leads to, where it was not met before and may be opened."""
        if Sdf.VariableExpression.IsExpression(named):
            raise Unusable(f"it names a layer by the expression {shown(named)}; write the path itself")
        identifier = Sdf.ComputeAssetPathRelativeToLayer(layer, named)
        if identifier in self.opened or identifier in self.refused:
            return None
        reason = self._reason_against(identifier, layer)
        result = self._open(identifier) if reason is None else None
        if result is None:
            self.refused[identifier] = f"it draws in {shown(named)}, which {reason or DAMAGED}"
        return result

    def _reason_against(self, identifier: str, layer: Sdf.Layer) -> str | None:
        """Why a layer that another one names may not be opened; None where it may. Nothing of it is read."""
        name = Sdf.Layer.SplitIdentifier(identifier)[0]
        outer, inner = Ar.SplitPackageRelativePathOuter(name)
        place = Path(os.path.normpath(outer))
        # Told by the name alone first: even to look at some places reaches other machines.
        if place.is_absolute() and (reason := self._reason_against_name(place)) is not None:
            return reason
        resolved = Ar.GetResolver().Resolve(name).GetPathString()
        if not resolved:
            if not inner:  # so that a file that is put there is noticed
                self._files.append(_place_of(layer).parent / place)
            return "is not there"
        place = Path(Ar.SplitPackageRelativePathOuter(resolved)[0])
        if (reason := self._reason_against_name(place)) is not None:
            return reason
        if not place.resolve().is_relative_to(self._folders[1]):
            return OUTSIDE
        try:
            open_regular(place).close()
        except UnreadableModel as error:
            return f"cannot be read: {error}"
        if place not in self._files:
            self._files.append(place)
        return None

    def _reason_against_name(self, place: Path) -> str | None:
        folder = next((folder for folder in self._folders if place.is_relative_to(folder)), None)
        if folder is None:
            return OUTSIDE
        if (problem := file_names.problem_of(place.relative_to(folder).as_posix())) is not None:
            return f"is no usable name: {problem}"
        return None if place.suffix.lower() in USD_ENDINGS else "is no OpenUSD file by its name"

    def _open(self, identifier: str) -> Sdf.Layer | None:
        if len(self.opened) >= self._limits.usd_layers:
            raise Beyond("usd_layers")
        try:
            layer = Sdf.Layer.FindOrOpen(identifier)
        except Tf.ErrorException:
            return None
        if layer is None:
            return None
        rate = layer.timeCodesPerSecond
        if not 0.0 < rate < inf:  # the library would look for time samples without end
            raise Unusable(f"{shown(_place_of(layer).name)} states {rate:g} time codes a second, which is no rate")
        self.opened[identifier] = layer
        if _without_clips(layer):
            name = _place_of(layer).name
            self.problems.append(f"{shown(name)} has value clips; they are not read, default values count")
        return layer


def _place_of(layer: Sdf.Layer) -> Path:
    """The file that a layer lies in, itself or in a package."""
    return Path(Ar.SplitPackageRelativePathOuter(str(layer.realPath))[0])


def _without_clips(layer: Sdf.Layer) -> bool:
    """Take the value clips out of a layer in memory; whether there were any."""
    holders: list[tuple[Sdf.Path, str]] = []

    def visit(path: Sdf.Path) -> None:
        if path.IsPrimPath() or path.IsPrimVariantSelectionPath():
            spec = layer.GetPrimAtPath(path)  # None for a variant set, whose path has no variant
            holders.extend((path, field) for field in CLIP_FIELDS if spec and spec.HasInfo(field))

    layer.Traverse(Sdf.Path.absoluteRootPath, visit)
    if holders:
        layer.SetPermissionToEdit(True)
    for path, field in holders:
        layer.GetPrimAtPath(path).ClearInfo(field)
    return bool(holders)


def _check_sublayers(root: Sdf.Layer, layers: _Layers) -> None:
    """Whether the root layer's sublayers may be opened, which happens before anything can be muted. Raises Unusable."""
    pending, met = [root], {root}
    while pending:
        layer = pending.pop()
        for named in layer.subLayerPaths:
            identifier = Sdf.ComputeAssetPathRelativeToLayer(layer, named)
            if identifier in layers.refused:
                raise Unusable(layers.refused[identifier])
            below = layers.opened[identifier]
            if below not in met:
                met.add(below)
                pending.append(below)


def _above(root: Sdf.Layer) -> Sdf.Layer:
    """A layer whose only sublayer is the root layer, with the metadata that a stage takes from its own root alone."""
    above = Sdf.Layer.CreateAnonymous(".usda")
    for field in ("upAxis", "metersPerUnit", "customLayerData"):
        if root.pseudoRoot.HasInfo(field):
            above.pseudoRoot.SetInfo(field, root.pseudoRoot.GetInfo(field))
    above.subLayerPaths.append(root.identifier)
    return above


def _check_prims(above: Sdf.Layer, context: Ar.DefaultResolverContext, layers: _Layers, most: int) -> None:
    """Compose prim after prim, which a few bytes can ask for in any number. Raises Unusable and Beyond."""
    cache = Pcp.Cache(Pcp.LayerStackIdentifier(above, None, context), "usd", True)
    cache.RequestLayerMuting(list(layers.refused), [])
    pending, count = [Sdf.Path.absoluteRootPath], 0
    while pending:
        path = pending.pop()
        prim, errors = cache.ComputePrimIndex(path)
        if prim.hasAnyPayloads and not cache.IsPayloadIncluded(path):
            cache.RequestPayloads([path], [])
            prim, errors = cache.ComputePrimIndex(path)
        for error in errors:
            _check_refused(str(error), layers.refused)
            raise Unusable(f"it cannot be composed: {shown(str(error))}")
        children = [path.AppendChild(name) for name in prim.ComputePrimChildNames()[0]]
        count += len(children)
        if count > most:
            raise Beyond("usd_prims")
        pending += children


def _check_layers(stage: Usd.Stage, layers: _Layers) -> None:
    """Whether the composed stage is made of what was checked, and lacks nothing of it. Raises Unusable."""
    known = set(layers.opened.values())
    for layer in stage.GetUsedLayers():
        if layer.anonymous:
            continue
        if layer not in known:
            raise Unusable(f"it draws in {shown(layer.identifier)}, which was not checked before")
        for named in layer.subLayerPaths:
            _check_refused(f"@{Sdf.ComputeAssetPathRelativeToLayer(layer, named)}@", layers.refused)
    for error in stage.GetCompositionErrors():
        raise Unusable(f"it cannot be composed: {shown(str(error))}")


def _check_refused(text: str, refused: Mapping[str, str]) -> None:
    for identifier, sentence in refused.items():
        if f"@{identifier}@" in text:
            raise Unusable(sentence)


def shown(text: str) -> str:
    """A foreign text short enough for a message."""
    return f"`{text[:LONGEST_SHOWN]}…`" if len(text) > LONGEST_SHOWN else f"`{text}`"
