"""The layers that an OpenUSD file is composed of, each looked at before the library opens it.

The library opens whatever a layer refers to, wherever it lies and whatever it is; a named pipe would make it wait for
ever. So the references are followed one by one, and the stage is only opened once all are known to be files in the
model's folder.
"""

from __future__ import annotations

from os.path import normpath
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from plica.readers.gltf_document import open_regular
from plica.readers.outline import UnreadableModel

if TYPE_CHECKING:
    from pxr import Sdf

MISSING = "reading OpenUSD needs the library usd-core: pip install 'plica[usd]'"


class Layers(NamedTuple):
    """`held`: the layers, open as long as they are kept, so that a stage does not read them again.

    `files`: where they lie, each once, the model's own first, packages instead of what is in them. `missing`: where
    layers that are referred to would lie.
    """

    held: tuple[Sdf.Layer, ...]
    files: tuple[Path, ...]
    missing: tuple[Path, ...]


def layers_of(path: Path) -> Layers:
    """The layers of a model, variants and payloads included. References made of expressions are left out.

    Raises UnreadableModel where one lies outside the model's folder, is no regular file or is too large, and where
    the model's own cannot be read or usd-core is not installed.
    """
    try:
        from pxr import Ar, UsdUtils
    except ImportError as error:
        raise UnreadableModel(MISSING) from error
    folder = path.resolve().parent
    resolver = Ar.GetResolver()
    held: list[Sdf.Layer] = []
    files: dict[Path, None] = {}
    missing: dict[Path, None] = {}
    waiting, met = [str(path.resolve())], {str(path.resolve())}
    listener = UsdUtils.CoalescingDiagnosticDelegate()  # else the library prints to the terminal
    try:
        while waiting:
            place = waiting.pop()
            files[_checked(place, folder)] = None
            layer = _layer(place)
            if layer is None and not held:
                raise UnreadableModel("it is damaged, or not OpenUSD")
            if layer is None:
                continue  # composing the stage says so
            held.append(layer)
            for asset in layer.GetCompositionAssetDependencies():
                found = str(resolver.Resolve(layer.ComputeAbsolutePath(asset)))
                if found and found not in met:
                    waiting.append(found)
                    met.add(found)
                elif not found and not asset.startswith("`") and not Ar.IsPackageRelativePath(place):
                    missing[Path(normpath(Path(place).parent / asset))] = None
    finally:
        listener.TakeUncoalescedDiagnostics()
    return Layers(tuple(held), tuple(files), tuple(missing))


def _checked(place: str, folder: Path) -> Path:
    """The file of a layer, which may stand in a package (`wren.usdz[fur.usda]`). Raises UnreadableModel."""
    from pxr import Ar

    outer = Ar.SplitPackageRelativePathOuter(place)[0] if Ar.IsPackageRelativePath(place) else place
    file = Path(outer).resolve()
    if not file.is_relative_to(folder):
        raise UnreadableModel(f"it draws in `{file.name}` from outside its folder")
    try:
        open_regular(file).close()
    except UnreadableModel as error:
        raise UnreadableModel(f"`{file.name}`, which it draws in: {error}") from error
    return file


def _layer(place: str) -> Sdf.Layer | None:
    from pxr import Sdf, Tf

    try:
        return Sdf.Layer.FindOrOpen(place)
    except Tf.ErrorException:
        return None
