"""Models: glTF as JSON and as binary, OpenUSD as text, crate and archive."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import numpy as np

from plica.diagnostics import Diagnostics
from plica.mesh.mesh_reader import read_mesh
from plica.pipeline import compile_file
from plica.readers.clip_reader import read_clips
from plica.readers.gltf_arrays import GltfArrays
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import read_outline
from plica.start import start_spec
from tests.fuzz.grammars import documents, lines
from tests.fuzz.mutate import of_bytes, of_glb, of_json, of_words, of_zip, one_of
from tests.fuzz.stages import SMALL_STAGE
from tests.fuzz.target import MIB, Target
from tests.fuzz.targets.scratch import written


def _read(path: Path) -> None:
    """Everything that is read of a model, each refused by itself or right."""
    with suppress(UnreadableModel):
        outline = read_outline(path)
        names = [joint.name for joint in outline.skeleton.joints]
        for chosen in ((), *((mesh.name,) for mesh in outline.meshes[:2])):
            with suppress(UnreadableModel):
                mesh = read_mesh(path, names, chosen)
                assert np.isfinite(mesh.positions).all()
                assert mesh.triangles.max(initial=0) < max(mesh.vertex_count, 1)
                assert mesh.joints.max(initial=0) < max(len(mesh.bind_joints), 1)
                assert np.isfinite(mesh.weights).all()
        _start(path)


def _start(path: Path) -> None:
    """What is written for a model that can be read has no errors."""
    diagnostics = Diagnostics()
    text = start_spec(path, diagnostics).text
    assert bool(text) is not diagnostics.has_errors
    if text:
        spec = path.with_suffix(".plica")
        spec.write_text(text, "utf-8")
        assert compile_file(spec).rig is not None, text


def _gltf(path: Path) -> None:
    """By its ending, and by its first bytes where the ending says nothing."""
    _read(path)
    with suppress(UnreadableModel):
        read_outline(written("wren.model", path.read_bytes()))
    with suppress(UnreadableModel):
        arrays = GltfArrays(path)
        for number in range(min(len(arrays.document.get("accessors") or ()), 64)):
            with suppress(UnreadableModel):
                arrays.accessor(number)
    with suppress(UnreadableModel):
        for clip in read_clips(path):
            assert np.isfinite(clip.rotations).all() and np.isfinite(clip.times).all()


def _usd(data: bytes) -> None:
    """The ending is told by the first bytes, as the format's own library does."""
    if data.startswith(b"PK"):
        ending = ".usdz"
    elif data.startswith(b"PXR-USDC"):
        ending = ".usdc"
    else:
        ending = ".usda"
    _read(written(f"model{ending}", data))


_USD_WORDS = (
    "def", "over", "class", "Mesh", "Skeleton", "SkelRoot", "SkelAnimation", "BlendShape", "Xform", "rel", "uniform",
    "token[]",
    "int[]", "float[]", "point3f[]", "matrix4d[]", "quatf[]", "half3[]", "string", "double", "asset",
    "@./model.usda@", "@x.usda@",
    "references", "payload", "subLayers", "variants", "inherits", "</Root>", "<../Skin>", "prepend", "apiSchemas",
    "instanceable",
    "timeSamples", "elementSize = 3", "interpolation", '"vertex"', '"faceVarying"', '"constant"', "None", "nan",
    "inf", "-inf",
    "1e400", "-1", "0", "99999999", "9223372036854775808", "[", "]", "(", ")", "{", "}", ",", '""',
    "primvars:skel:jointIndices",
    "primvars:skel:jointWeights", "primvars:skel:geomBindTransform", "skel:skeleton", "skel:joints", "upAxis", '"Z"',
    "metersPerUnit",
    "restTransforms", "bindTransforms", "joints", "points", "faceVertexCounts", "faceVertexIndices", "primvars:st",
    "#usda 1.0",
)  # fmt: skip
_DOCUMENT = of_json()
_RAW_USD = of_bytes((b"PXR-USDC", b"TOKENS\0\0", b"PATHS\0\0\0", b"FIELDS\0\0", b"SPECS\0\0\0", b"STRINGS\0"))

TARGETS = (
    Target(
        "gltf", lambda data: _gltf(written("model.gltf", data)), _DOCUMENT, documents.gltf, short=100, longest=32_768
    ),
    Target("glb", lambda data: _gltf(written("model.glb", data)), of_glb(_DOCUMENT), short=100, longest=32_768),
    Target(
        "usd",
        _usd,
        one_of(of_words(_USD_WORDS), _RAW_USD, of_zip(lambda name: of_words(_USD_WORDS))),
        lines.usd,
        prepare=lambda: _read(written("model.usda", SMALL_STAGE.encode())),
        short=30,
        needs=("pxr",),
        seconds=4.0,
        memory=2048 * MIB,  # of addresses: threads of the library reserve them, and use few
    ),
)
