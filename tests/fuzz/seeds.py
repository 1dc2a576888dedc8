"""Writes the corpus: `python -m tests.fuzz.seeds`, for a change of what is made here or of a form of our own.

Everything in it is made by our own code, but for `gltf/SimpleSkin.gltf`, which is of tests/data (see its LICENCES.md).
"""

from __future__ import annotations

import json
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from plica.commands import main
from plica.prove.cache.disk import KINDS
from tests.fuzz import character, stages
from tests.fuzz.good import GOOD
from tests.fuzz.mutate import png_chunk
from tests.fuzz.target import CORPUS
from tests.support.data import SMALL_DATA
from tests.support.meshes import Buffers
from tests.support.models import container, document_of, figure

PROJECT = """plica = 1
characters = ["characters/*/*.plica", "**/*.plica"]
libraries = ["library/*.plica"]
folders = ["library", "."]
clips = []
out = "made"
accepted-changes = "accepted.toml"
[targets.masks]
size = 512
still = ["nose=1", 2, true]
[[accept]]
finding = "unused-name"
because = "later"
within = ["characters/w*/**"]
"""
OUTCOME = json.dumps(
    {
        "seen": [["bytes", "/wren.plica", "0:3", "ab"]],
        "outcome": {
            "sources": [["wren.plica", "plica 1\n"]],
            "findings": [["unused-name", "warning", [0, 0, 5], "a", None, [[[0, 1, 2], "b"]], [[0, 0, 1], "c"]]],
            "lines": ["checked"],
            "documents": [["text", "table"]],
            "failed": False,
        },
    }
)
FOLDER = "file:///work-of-wren/"


def seeds() -> dict[str, bytes]:
    """The files of the corpus, by `TARGET/NAME`."""
    result = {
        "text/wren.plica": character.SPEC.encode(),
        "text/limb.plica": character.LIMB.encode(),
        "text/everything.plica": GOOD.encode(),
        "format/wren.plica": character.SPEC.encode(),
        "format/everything.plica": GOOD.encode(),
        "colours/wren.plica": character.SPEC.encode(),
        "gltf/wren.gltf": character.as_gltf(),
        "gltf/SimpleSkin.gltf": (SMALL_DATA / "SimpleSkin.gltf").read_bytes(),
        "gltf/two-meshes.gltf": _two_meshes(),
        "gltf/figure.gltf": json.dumps(document_of(figure(), morphs=["smile"])).encode(),
        "glb/wren.glb": character.as_glb(),
        "glb/empty.glb": container(b"{}"),
        "usd/stage.usda": stages.SMALL_STAGE.encode(),
        "usd/stage.usdc": stages.crate(),
        "usd/stage.usdz": stages.package(),
        "bvh/rounds.bvh": character.CLIP.encode(),
        "obj/lift.obj": character.obj(),
        "npz/hold.npz": character.sculpt(),
        "project/everything.toml": PROJECT.encode(),
        "project/empty.toml": b"",
        "outcome/checked.json": OUTCOME.encode(),
        "toml/accepted.toml": b'3f2a9c0d11e2b3c4 = "agreed with animation: the boot is stiffer now"\n',
        "template/list.jinja": b"{% for one in rig.strengths %}\n{{ loop.index }} {{ one.name|upper }}\n"
        b"{{ one|json }}\n{% endfor %}\n",
        "editor/asked.json": json.dumps(_conversation()).encode(),
    }
    return result | _images() | _of_runs()


def _two_meshes() -> bytes:
    """A square with a skin and a morph target, and a mesh that hangs on no joint."""
    buffers = Buffers()
    square = [(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 1.0, 0.0)]
    attributes = {
        "POSITION": buffers.add(square),
        "NORMAL": buffers.add(square),
        "TEXCOORD_0": buffers.add([place[:2] for place in square]),
        "JOINTS_0": buffers.add([(0, 1, 0, 0)] * 4, np.uint8),
        "WEIGHTS_0": buffers.add([(0.5, 0.5, 0, 0)] * 4),
    }
    primitive = {"attributes": attributes, "indices": buffers.add([0, 1, 2], np.uint16), "targets": [{"POSITION": 0}]}
    document: dict[str, Any] = {
        "nodes": [{"name": "hip", "children": [1, 2]}, {"name": "knee"}, {"mesh": 1}, {"mesh": 0, "skin": 0}],
        "skins": [{"joints": [0, 1], "inverseBindMatrices": buffers.add(np.tile(np.eye(4), (2, 1, 1)))}],
        "meshes": [
            {"primitives": [primitive], "weights": [0], "extras": {"targetNames": ["smile"]}},
            {"primitives": [{"attributes": {"POSITION": 0}, "mode": 5}]},
        ],
    }
    with tempfile.TemporaryDirectory() as made:
        return buffers.written(Path(made) / "model.gltf", document).read_bytes()


def _images() -> dict[str, bytes]:
    sixteen = b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", bytes([0, 0, 0, 2, 0, 0, 0, 2, 16, 2, 0, 0, 0]))
    rows = b"".join(b"\0" + bytes(range(row, row + 12)) for row in (0, 100))
    return {
        "image/grey.png": character.image("L"),
        "image/colour.png": character.image("RGB"),
        "image/alpha.png": character.image("RGBA"),
        "image/palette.png": character.image("P"),
        "image/sixteen.png": character.image("I;16"),
        "image/deep-colour.png": sixteen + png_chunk(b"IDAT", _packed(rows)) + png_chunk(b"IEND", b""),
        "image/float.tiff": character.image("F", form="TIFF"),
        "image/packed.tiff": character.image("RGB", form="TIFF", compression="tiff_lzw"),
        "image/grey.tga": character.image("L", form="TGA", compression="tga_rle"),
        "image/grey.bmp": character.image("L", form="BMP"),
        "image/colour.jpg": character.image("RGB", form="JPEG"),
        "image/colour.webp": character.image("RGB", form="WEBP"),
    }


def _packed(rows: bytes) -> bytes:
    import zlib

    return zlib.compress(rows, 9)


def _of_runs() -> dict[str, bytes]:
    """What a build and a proof of the small character leave."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        spec = character.put_down(folder)
        _run("build", str(spec), "--out", str(folder / "new"), "--target", "json")
        offsets = (folder / "new" / "wren.offsets.npz").read_bytes()
        new = (folder / "new" / "wren.rig.json").read_bytes()
        manifest = (folder / "new" / "wren.manifest.json").read_bytes()
        _run("prove", str(spec), "--cache", str(folder / "cache"), "--workers", "1", codes=(0, 1))
        _run(
            "prove", str(spec), "--write-baseline", "--baseline", str(folder / "b.json"), "--workers", "1", codes=(0, 1)
        )
        baseline = (folder / "b.json").read_bytes()
        kept = {}
        for kind in KINDS:
            if kind == "outcomes":  # of projects; targets/projects.py makes them
                continue
            entry = min((folder / "cache" / kind).glob("??/*"), key=lambda path: (path.stat().st_size, path.name))
            kept[f"cache/{kind}"] = kind.encode() + b"\n" + entry.read_bytes().partition(b"\n")[2]
        spec.write_text(character.SPEC.replace("100 deg", "90 deg").replace("ease-in", "smooth"), "utf-8")
        _run("build", str(spec), "--out", str(folder / "old"), "--target", "json")
        old = (folder / "old" / "wren.rig.json").read_bytes()
    made_of = {"json/wren.rig.json": new, "json/old.rig.json": old, "json/baseline.json": baseline}
    return made_of | {"json/wren.manifest.json": manifest, "npz/wren.offsets.npz": offsets} | kept


def _run(*words: str, codes: tuple[int, ...] = (0,)) -> None:
    code = main.run(list(words))
    assert code in codes, words


def _conversation() -> list[dict[str, Any]]:
    """Everything that an editor can ask about a spec and its library."""
    spec, library = f"{FOLDER}wren.plica", f"{FOLDER}limb.plica"
    texts = ((spec, character.SPEC), (library, character.LIMB))
    result: list[dict[str, Any]] = [
        {"method": "textDocument/didOpen",
         "params": {"textDocument": {"uri": uri, "languageId": "plica", "version": 1, "text": text}}}
        for uri, text in texts
    ]  # fmt: skip
    line = character.SPEC[: character.SPEC.index("elbow_bend")].count("\n")
    at = {"textDocument": {"uri": spec}, "position": {"line": line, "character": 35}}
    whole = {"start": {"line": 0, "character": 0}, "end": {"line": 40, "character": 0}}
    asked: list[tuple[str, dict[str, Any]]] = [
        ("hover", at), ("definition", at), ("references", at | {"context": {"includeDeclaration": True}}),
        ("prepareRename", at), ("rename", at | {"newName": "arm"}), ("completion", at),
        ("documentSymbol", {"textDocument": {"uri": spec}}),
        ("formatting", {"textDocument": {"uri": spec}, "options": {"tabSize": 4, "insertSpaces": True}}),
        ("codeAction", {"textDocument": {"uri": spec}, "range": whole, "context": {"diagnostics": []}}),
        ("inlayHint", {"textDocument": {"uri": spec}, "range": whole}),
    ]  # fmt: skip
    result += [
        {"id": 10 + n, "method": f"textDocument/{name}", "params": params} for n, (name, params) in enumerate(asked)
    ]
    place = {"start": {"line": 2, "character": 4}, "end": {"line": 2, "character": 12}}
    changes = [{"range": place, "text": "geo"}]
    result.append({"method": "textDocument/didChange",
                  "params": {"textDocument": {"uri": spec, "version": 2}, "contentChanges": changes}})  # fmt: skip
    result += [
        {"method": "textDocument/didClose", "params": {"textDocument": {"uri": library}}},
        {"method": "textDocument/didSave", "params": {"textDocument": {"uri": spec}}},
    ]
    return result


def write() -> int:
    """Write all of it."""
    for name, content in seeds().items():
        path = CORPUS / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return 0


if __name__ == "__main__":
    sys.exit(write())
