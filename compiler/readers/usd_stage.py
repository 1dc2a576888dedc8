"""What an OpenUSD stage holds, as plain data: what the process that reads a model answers, checked as foreign input.

Arrays stay in the answer's file until somebody asks for them. A part that could not be read says so in `fault`, and
refuses the model where that part is used.
"""

from __future__ import annotations

import json
import math
import struct
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from plica.readers.json_fields import LARGEST_NUMBER, Fields, fields, index, items, objects, text, whole
from plica.readers.model_outline import UnreadableModel
from plica.values import SkinningMethod

TRAILER = struct.Struct("<Q")
LARGEST_JSON = 64 * 1024**2  # bytes; a stage of 50,000 meshes
WHOLE_NUMBERS = "bBhHiIlLqQ"  # element formats of the module struct
FRACTIONS = "efd"


class UsdArray(NamedTuple):
    """Numbers of one element format of the module struct; no bytes where the file states none."""

    element: str
    shape: tuple[int, ...]
    data: memoryview
    fault: str = ""

    def usable(self) -> UsdArray:
        """The array. Raises UnreadableModel where it could not be read."""
        if self.fault:
            raise UnreadableModel(self.fault)
        return self

    def matrices(self) -> tuple[tuple[tuple[float, ...], ...], ...]:
        """Matrices of four rows of four numbers. Raises UnreadableModel."""
        if self.element != "d" or self.shape[1:] != (4, 4):
            raise UnreadableModel("its transforms are not made of four times four numbers")
        rows = list(struct.iter_unpack("@4d", self.data))
        return tuple(tuple(rows[start : start + 4]) for start in range(0, len(rows), 4))


class UsdPrimvar(NamedTuple):
    """Values over a mesh; `interpolation` as in UsdGeomPrimvar. Indices are resolved."""

    name: str
    interpolation: str
    values: UsdArray


class UsdBlendShape(NamedTuple):
    """`points` is None where the offsets are for every point."""

    offsets: UsdArray
    normal_offsets: UsdArray
    points: UsdArray | None


class UsdSkin(NamedTuple):
    """How a mesh hangs on its skeleton: `each` influences in turn; `joints` None: in the skeleton's own order.

    `method_stated`: whether the stage says how it skins, else `method` is the schema's fallback.
    """

    bind: UsdArray
    joints: tuple[str, ...] | None
    indices: UsdArray
    weights: UsdArray
    each: int
    rigid: bool
    method: SkinningMethod
    method_stated: bool


class UsdMesh(NamedTuple):
    """A mesh prim; `to_model` leads from its own space to metres with y up, matrices for row vectors.

    `blend_shapes`: by the order of `shape_names`, None where a target is not there. Each `fault` is empty where the
    part was read.
    """

    path: str
    name: str
    to_model: UsdArray
    points: UsdArray
    counts: UsdArray
    corners: UsdArray
    left_handed: bool
    normals: UsdPrimvar
    uv_sets: tuple[UsdPrimvar, ...]
    shape_names: tuple[str, ...]
    blend_shapes: tuple[UsdBlendShape | None, ...]
    shape_fault: str
    skeleton: str | None
    skinned: bool
    skin: UsdSkin | None
    skin_fault: str


class UsdSkeleton(NamedTuple):
    """A Skeleton prim: local rest transforms (those of roots in the model's space), parents -1 at roots.

    `names`: what the joints are called, where the layer is ours and says so; else they are called by their paths.
    """

    path: str
    joints: tuple[str, ...]
    parents: tuple[int, ...]
    rest: UsdArray
    rest_stated: bool
    binds: UsdArray
    to_model: UsdArray
    fault: str
    names: tuple[str, ...] = ()

    def usable(self) -> UsdSkeleton:
        """The skeleton. Raises UnreadableModel where it could not be read."""
        if self.fault:
            raise UnreadableModel(self.fault)
        return self


class UsdMotion(NamedTuple):
    """The animation of a Skeleton prim: `seconds` (frames,), and the local transforms of its joints in each frame.

    `transforms` (frames * joints, 4, 4), matrices for row vectors, those of roots in the model's space. `shapes`: the
    blend shapes that it moves, and their `weights` (frames, shapes).
    """

    skeleton: str
    name: str
    seconds: UsdArray
    transforms: UsdArray
    shapes: tuple[str, ...]
    weights: UsdArray
    fault: str


class UsdStage(NamedTuple):
    """A composed stage in its order. `problems` are sentences about what was left out; motions only if asked for.

    `unit`: how many metres one length of it is (`metersPerUnit`); `unit_stated`: whether the stage says so, else it is
    the schema's fallback. `carried`: the rig that Plica wrote into it, as JSON.
    """

    meshes: tuple[UsdMesh, ...]
    skeletons: tuple[UsdSkeleton, ...]
    animations: tuple[str, ...]
    motions: tuple[UsdMotion, ...]
    problems: tuple[str, ...]
    unit: float
    unit_stated: bool
    carried: str | None = None


class Answer(NamedTuple):
    """What the process said: a stage, or why there is none, or the limit that the model goes beyond."""

    stage: UsdStage | None
    fault: str
    beyond: str
    files: tuple[str, ...]


def decoded(data: memoryview) -> Answer:
    """An answer's bytes, with every type, index and size checked. Raises UnreadableModel."""
    size = TRAILER.unpack(data[-TRAILER.size :])[0] if len(data) >= TRAILER.size else len(data)
    if size > len(data) - TRAILER.size:
        raise UnreadableModel("it is damaged: reading it broke off")
    if size > LARGEST_JSON:
        raise UnreadableModel("it has more prims than any character")
    end = len(data) - TRAILER.size - size
    try:
        answer = fields(json.loads(bytes(data[end : end + size])), "answer")
    except (ValueError, RecursionError) as error:
        raise UnreadableModel("it is damaged: reading it gave no answer") from error
    files = _texts(answer, "files", "answer")
    fault, beyond = text(answer, "fault", "answer") or "", text(answer, "beyond", "answer") or ""
    return Answer(None if fault or beyond else _Decoder(data[:end]).stage(answer), fault, beyond, files)


class _Decoder:
    def __init__(self, data: memoryview) -> None:
        self._data = data

    def stage(self, answer: Fields) -> UsdStage:
        return UsdStage(
            tuple(self._mesh(item) for item in objects(answer, "meshes", "answer")),
            tuple(self._skeleton(item) for item in objects(answer, "skeletons", "answer")),
            _texts(answer, "animations", "answer"),
            tuple(self._motion(item) for item in objects(answer, "motions", "answer")),
            _texts(answer, "problems", "answer"),
            _unit(answer),
            answer.get("unit_stated") is True,
            text(answer, "carried", "answer"),
        )

    def _mesh(self, item: Fields) -> UsdMesh:
        shapes, skin = fields(item.get("blend_shapes"), "blend_shapes"), item.get("skin")
        if skin is not None:
            skin = fields(skin, "skin")
        return UsdMesh(
            path=_text(item, "path"),
            name=_text(item, "name"),
            to_model=self._array(item, "to_model"),
            points=self._array(item, "points"),
            counts=self._array(item, "counts"),
            corners=self._array(item, "corners"),
            left_handed=item.get("left_handed") is True,
            normals=self._primvar(fields(item.get("normals"), "normals")),
            uv_sets=tuple(self._primvar(each) for each in objects(item, "uv_sets", "mesh")),
            shape_names=_texts(shapes, "names", "blend_shapes"),
            blend_shapes=tuple(self._blend_shape(each) for each in items(shapes, "shapes", "blend_shapes")),
            shape_fault=text(shapes, "fault", "blend_shapes") or "",
            skeleton=text(item, "skeleton", "mesh"),
            skinned=item.get("skinned") is True,
            skin=None if skin is None or "fault" in skin else self._skin(skin),
            skin_fault="" if skin is None else text(skin, "fault", "skin") or "",
        )

    def _primvar(self, item: Fields) -> UsdPrimvar:
        if fault := text(item, "fault", "primvar"):
            return UsdPrimvar("", "", _without(fault))
        return UsdPrimvar(_text(item, "name"), _text(item, "interpolation"), self._array(item, "values"))

    def _blend_shape(self, item: object) -> UsdBlendShape | None:
        if item is None:
            return None
        shape = fields(item, "blend_shapes")
        points = None if shape.get("points") is None else self._array(shape, "points")
        return UsdBlendShape(self._array(shape, "offsets"), self._array(shape, "normal_offsets"), points)

    def _skin(self, item: Fields) -> UsdSkin:
        return UsdSkin(
            bind=self._array(item, "bind"),
            joints=None if item.get("joints") is None else _texts(item, "joints", "skin"),
            indices=self._array(item, "indices"),
            weights=self._array(item, "weights"),
            each=whole(item, "each", 1, "skin"),
            rigid=item.get("rigid") is True,
            method="dual quaternion" if item.get("method") == "dual quaternion" else "linear",
            method_stated=item.get("method_stated") is True,
        )

    def _skeleton(self, item: Fields) -> UsdSkeleton:
        content = fields(item.get("content"), "skeleton")
        path = _text(item, "path")
        if fault := text(content, "fault", "skeleton"):
            nothing = _without(fault)
            return UsdSkeleton(path, (), (), nothing, False, nothing, nothing, fault)
        joints = _texts(content, "joints", "skeleton")
        parents = items(content, "parents", "skeleton")
        if len(parents) != len(joints) or not all(
            type(parent) is int and -1 <= parent < row for row, parent in enumerate(parents)
        ):
            raise UnreadableModel(f"the joints of {path} are not in order")
        rest = self._array(content, "rest")
        if rest.shape[:1] != (len(joints),):
            raise UnreadableModel(f"{path} has not one rest transform for each joint")
        stated = content.get("rest_stated") is True
        binds, above = self._array(content, "binds"), self._array(content, "to_model")
        names = _texts(content, "names", "skeleton")
        named = names if len(names) == len(joints) and all(names) else ()
        return UsdSkeleton(path, joints, tuple(parents), rest, stated, binds, above, "", named)

    def _motion(self, item: Fields) -> UsdMotion:
        content = fields(item.get("content"), "motion")
        path, name = _text(item, "skeleton"), _text(item, "name")
        if fault := text(content, "fault", "motion"):
            nothing = _without(fault)
            return UsdMotion(path, name, nothing, nothing, (), nothing, fault)
        seconds, transforms = self._array(content, "seconds"), self._array(content, "transforms")
        shapes, weights = _texts(content, "shapes", "motion"), self._array(content, "weights")
        return UsdMotion(path, name, seconds, transforms, shapes, weights, "")

    def _array(self, holder: Fields, key: str) -> UsdArray:
        """An array of the answer; its bytes lie in the answer and are as many as its shape asks for."""
        item = fields(holder.get(key), key)
        if fault := text(item, "fault", key):
            return _without(fault)
        if item.get("nothing") is True:
            return _without("")
        element = text(item, "element", key) or ""
        if len(element) != 1 or element not in WHOLE_NUMBERS + FRACTIONS:
            raise UnreadableModel(f"{key} is not made of numbers")
        shape = tuple(whole({"size": size}, "size", 0, key) for size in items(item, "shape", key))
        count, start = whole(item, "bytes", 0, key), index(item, "at", len(self._data) + 1, key) or 0
        if math.prod(shape) * struct.calcsize(element) != count or start + count > len(self._data) or start % 8:
            raise UnreadableModel(f"{key} is not as long as its shape says")
        return UsdArray(element, shape, self._data[start : start + count])


def _unit(answer: Fields) -> float:
    unit = answer.get("unit")
    if not isinstance(unit, float | int) or not 0.0 < unit < LARGEST_NUMBER:
        raise UnreadableModel("its `metersPerUnit` is no length")
    return float(unit)


def _without(fault: str) -> UsdArray:
    return UsdArray("f", (0,), memoryview(b""), fault)


def _text(holder: Fields, key: str) -> str:
    return text(holder, key, "answer") or ""


def _texts(holder: Fields, key: str, place: str) -> tuple[str, ...]:
    return tuple(_each_text(items(holder, key, place), f"{place}.{key}"))


def _each_text(values: Sequence[object], place: str) -> Iterator[str]:
    for value in values:
        yield text({"text": value}, "text", place) or ""
