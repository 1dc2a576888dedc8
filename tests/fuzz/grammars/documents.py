"""JSON: models, documents, what an editor sends, entries of a cache."""

from __future__ import annotations

import json
from typing import Any

from hypothesis import strategies as st

from tests.fuzz import character
from tests.fuzz.grammars.specs import specs
from tests.fuzz.mutate import ODD

_ODD = st.sampled_from(ODD)
_ANY = st.recursive(
    _ODD, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3)
)


def _as_json(value: Any) -> bytes:
    return json.dumps(value).encode("ascii")


@st.composite
def _gltf(draw: st.DrawFn) -> bytes:
    """The small character's document with accessors, nodes, skin, primitives and animation written anew."""
    document = json.loads(character.as_gltf())
    number = st.integers(-1, 14)
    accessor = st.fixed_dictionaries(
        {
            "componentType": st.sampled_from((5120, 5121, 5122, 5123, 5125, 5126, 5124, 0)),
            "count": st.sampled_from((0, 1, 2, 48, 10**6, 10**9, -1)),
            "type": st.sampled_from(("SCALAR", "VEC2", "VEC3", "VEC4", "MAT2", "MAT3", "MAT4", "x")),
        },
        optional={
            "bufferView": number,
            "byteOffset": st.sampled_from((0, 1, 4, 2**31, -4)),
            "normalized": st.booleans(),
            "sparse": st.fixed_dictionaries(
                {
                    "count": st.sampled_from((0, 1, 3, 10**9)),
                    "indices": st.fixed_dictionaries(
                        {"bufferView": number, "componentType": st.sampled_from((5121, 5123, 5126))}
                    ),
                    "values": st.fixed_dictionaries({"bufferView": number}),
                }
            ),
        },
    )
    for place in draw(st.lists(st.integers(0, len(document["accessors"]) - 1), max_size=2)):
        document["accessors"][place] = draw(accessor)
    for node in document["nodes"]:
        if draw(st.integers(0, 3)) == 0:
            node["children"] = draw(st.lists(st.integers(-1, 6), max_size=3))
        if draw(st.integers(0, 3)) == 0:
            numbers = st.sampled_from((0.0, 1.0, -1.0, 1e-300, 1e300, 0.5))
            key, size = draw(st.sampled_from((("rotation", 4), ("scale", 3), ("translation", 3), ("matrix", 16))))
            node[key] = draw(st.lists(numbers, min_size=size, max_size=size))
    if draw(st.booleans()):
        document["skins"][0]["joints"] = draw(st.lists(st.integers(-1, 6), max_size=7))
    if draw(st.booleans()):
        primitive = document["meshes"][0]["primitives"][0]
        primitive["mode"] = draw(st.integers(-1, 7))
        primitive["attributes"] |= draw(
            st.dictionaries(st.sampled_from(("POSITION", "JOINTS_1", "WEIGHTS_1", "TEXCOORD_1")), number)
        )
    if draw(st.booleans()):
        channel = {
            "sampler": draw(number),
            "target": {"node": draw(number), "path": draw(st.sampled_from(("scale", "weights", "x")))},
        }
        document["animations"][0]["channels"].append(channel)
        document["animations"][0]["samplers"][0]["interpolation"] = draw(st.sampled_from(("STEP", "CUBICSPLINE", "x")))
    return _as_json(document)


def gltf() -> st.SearchStrategy[bytes]:
    """glTF documents."""
    return _gltf()


def documents() -> st.SearchStrategy[bytes]:
    """Baselines, manifests of builds, heads of rigs, and any JSON."""
    baseline = st.fixed_dictionaries(
        {"format": st.just("plica-baseline"), "version": st.just(1), "accepted": st.dictionaries(st.text(), _ODD)}
    )
    rig = st.fixed_dictionaries(
        {"format": st.just("plica-rig"), "version": st.just(1), "build": st.none() | st.text(max_size=4)},
        optional={"character": _ANY, "strengths": _ANY},
    )
    names = st.sampled_from(("wren.rig.json", "../x", "C:/x", "/x", "a/\0", "", "con"))
    entry = st.fixed_dictionaries(
        {
            "file": names | _ODD,
            "targets": st.lists(st.text(max_size=4) | _ODD, max_size=3),
            "build": st.text(max_size=4) | _ODD,
            "bytes": st.integers() | _ODD,
            "sha256": st.text(max_size=4) | _ODD,
        }
    )
    manifest = st.fixed_dictionaries(
        {"format": st.just("plica-build"), "version": st.just(1), "character": st.text(max_size=4), "build": st.text()},
        optional={"files": st.lists(entry, max_size=4) | _ANY},
    )
    return st.one_of(baseline, manifest, rig, _ANY).map(_as_json)


def figures() -> st.SearchStrategy[bytes]:
    """Entries of a cache."""
    worst = st.one_of(st.none(), st.lists(_ODD, min_size=3, max_size=3))
    figure = st.one_of(st.tuples(worst, worst, st.text(max_size=5)).map(list), _ANY).map(_as_json)
    return figure.map(lambda content: b"figures\n" + content)


@st.composite
def _conversation(draw: st.DrawFn) -> bytes:
    """A text that is opened, changed, and asked about."""
    folder = "file:///work-of-wren/"
    uri = draw(st.sampled_from((folder + "wren.plica", folder + "limb.plica", "untitled:1")))
    text = draw(
        st.sampled_from((character.SPEC, character.LIMB, "", "plica 1\r\n\U0001f9a6")) | specs().map(bytes.decode)
    )
    position = st.fixed_dictionaries({"line": st.integers(0, 40), "character": st.integers(0, 90)})
    span = st.fixed_dictionaries({"start": position, "end": position})
    place = {"textDocument": {"uri": uri}}
    messages: list[dict[str, Any]] = [
        {
            "method": "textDocument/didOpen",
            "params": {"textDocument": {"uri": uri, "languageId": "plica", "version": 1, "text": text}},
        }
    ]
    for number in range(draw(st.integers(1, 6))):
        method = draw(st.sampled_from(("didChange", "at", "rename", "whole", "range")))
        if method == "didChange":
            change = {
                "range": draw(span),
                "text": draw(st.sampled_from(("", "{", "}", "driver", "\n", "\U0001f9a6", "x of "))),
            }
            params = {"textDocument": {"uri": uri, "version": number + 2}, "contentChanges": [change]}
            messages.append({"method": "textDocument/didChange", "params": params})
            continue
        asked, params = {
            "at": (draw(st.sampled_from(("hover", "definition", "references", "completion", "prepareRename"))), {}),
            "rename": ("rename", {"newName": draw(st.sampled_from(("b", "", "a b", "{x}", "driver", "\U0001f9a6")))}),
            "whole": (
                draw(st.sampled_from(("documentSymbol", "formatting"))),
                {"options": {"tabSize": 4, "insertSpaces": True}},
            ),
            "range": (
                draw(st.sampled_from(("codeAction", "inlayHint"))),
                {"range": draw(span), "context": {"diagnostics": []}},
            ),
        }[method]
        at = {"position": draw(position), "context": {"includeDeclaration": True}} if method in ("at", "rename") else {}
        messages.append({"id": number + 1, "method": f"textDocument/{asked}", "params": {**place, **at, **params}})
    return _as_json(messages)


def conversations() -> st.SearchStrategy[bytes]:
    """What an editor sends."""
    return _conversation()
