"""Inputs written from nothing by hypothesis: mostly of the right form, now and then odd where it matters."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
from hypothesis import strategies as st
from lark.grammar import NonTerminal, Symbol
from PIL import Image

from plica.syntax.tables import parser
from plica.syntax.words import terminal_words
from tests.fuzz import character
from tests.fuzz.mutate import ODD, zipped

Bytes = st.SearchStrategy[bytes]
DEEPEST = 12  # rules within rules before the shortest way out is taken

# ---- specs: the rules of the grammar itself -------------------------------------------------------------------------

_NAMES = "elbow", "wrist", "forearm", "fur", "fist", "a", "spine", "lowerarm", "paw", "upperarm", "head", "{x}", "b_{x}"
_TEXTS = '"wren.glb"', '"patch.png"', '"hold.npz"', '"limb.plica"', '"*_lf"', '"*_rt"', '""', '"{x}"', '"skin"', '"\\""'
_AMOUNTS = (
    "0", "1", "2", "0.5", "90 deg", "-10 deg", "5 mm", "10 %", "2 MiB", "0 m", "1e300 m", "1 turn", "1e-320", "0.35", "1 cm",
)  # fmt: skip
_POOLS = {
    "NAME": _NAMES, "STRING": _TEXTS, "QUANTITY": _AMOUNTS, "PLACEHOLDER": ("{x}", "{y}"), "AXIS": ("x", "-y", "z"),
    "RULE": ("uneven-rest-pose", "not-sculpted", "unknown-rule"),
}  # fmt: skip
_CHARACTER = (
    "plica 1\ncharacter wren { skeleton {\n joint spine at 0 m, 0 m, 0 m\n"
    + "".join(
        f" joint {name}_{side} under {f'{above}_{side}' if above != 'spine' else above} at {sign}10 cm, 1 mm, 0 m\n"
        for name, above in (("upperarm", "spine"), ("lowerarm", "upperarm"), ("paw", "lowerarm"))
        for side, sign in (("lf", ""), ("rt", "-"))
    )
    + '} symmetry across x left "*_lf" right "*_rt" }\n'
)


@cache
def _rules() -> dict[str, list[list[Symbol]]]:
    """What each rule of the grammar can be made of, the shortest first."""
    found: dict[str, list[list[Symbol]]] = {}
    for rule in parser().rules:
        found.setdefault(rule.origin.name, []).append(list(rule.expansion))
    depth: dict[str, int] = {}
    while len(depth) < len(found):
        for name, ways in found.items():
            known = [_depth(way, depth) for way in ways if _depth(way, depth) is not None]
            if known and name not in depth:
                depth[name] = 1 + min(one for one in known if one is not None)
    for ways in found.values():
        ways.sort(key=lambda way: (_depth(way, depth) or 0, len(way)))
    return found


def _depth(way: list[Symbol], known: dict[str, int]) -> int | None:
    """How deep the deepest part of a way is; None where that is not known yet."""
    parts = [known.get(one.name) for one in way if isinstance(one, NonTerminal)]
    return None if None in parts else max((one for one in parts if one is not None), default=0)


@st.composite
def _specs(draw: st.DrawFn) -> bytes:
    words: list[str] = []
    for _ in range(draw(st.integers(1, 6))):
        _write(draw, "declaration", 0, words)
        words.append("\n")
    head = _CHARACTER if draw(st.integers(0, 7)) else "plica 1\n"
    return (head + " ".join(words)).encode("utf-8", "surrogatepass")


def _write(draw: st.DrawFn, rule: str, depth: int, words: list[str]) -> None:
    ways = _rules()[rule]
    way = ways[0] if depth > DEEPEST or len(words) > 400 else draw(st.sampled_from(ways))
    for one in way:
        if isinstance(one, NonTerminal):
            _write(draw, one.name, depth + 1, words)
        else:
            words.append(draw(_word(one.name)))


@cache
def _word(terminal: str) -> st.SearchStrategy[str]:
    pool = _POOLS.get(terminal) or terminal_words().get(terminal)
    if pool:
        return st.sampled_from(pool)
    return st.just(next(one.pattern.value for one in parser().terminals if one.name == terminal))


def specs() -> Bytes:
    """Texts by the rules of Plica's grammar, about a character with arms on both sides."""
    return _specs()


# ---- templates -----------------------------------------------------------------------------------------------------

_VALUES = st.sampled_from(
    (
        "rig", "rig.strengths", "rig.skeleton[0].name", "rig.character", "x", "loop.index", "[1, 2]", "'a'", "3", "0", "-1",
        "1e308", "9 ** 9", "'a' * 99", "range(9)", "range(99999)", "{}", "none", "true", "rig.nothing", "namespace(a=1)", "dict(a=x)",
    )
)  # fmt: skip
_FILTERS = st.sampled_from(
    (
        "degrees", "millimetres", "json", "python_literal", "length", "join", "upper", "center(30)", "indent(4)", "list", "first",
        "batch(2)", "tojson", "sort", "map('upper')", "attr('__class__')", "format(1)", "replace('a', 'b')", "round(400)", "wordwrap(1)",
        "pprint", "xmlattr", "urlize", "truncate(0)", "groupby('name')", "sum", "int(base=99)", "float", "filesizeformat", "default(rig)",
    )
)  # fmt: skip
_EXPRESSIONS = st.recursive(
    _VALUES,
    lambda inner: st.one_of(
        st.tuples(inner, _FILTERS).map(lambda two: f"{two[0]}|{two[1]}"),
        st.tuples(inner, st.sampled_from(("+", "*", "**", "//", "%", "~", "<", "in", "and", "if x else")), inner).map(" ".join),
        inner.map(lambda one: f"({one})"),
        inner.map(lambda one: f"{one}[0]"),
        inner.map(lambda one: f"{one}.name"),
    ),
    max_leaves=6,
)  # fmt: skip
_PIECES = st.recursive(
    st.one_of(
        st.sampled_from(("text\n", " ", "{# said #}", "{% include 'other.jinja' %}", "{% break %}", "{{ m(1) }}", "{{ super() }}")),
        _EXPRESSIONS.map(lambda one: f"{{{{ {one} }}}}"),
        _EXPRESSIONS.map(lambda one: f"{{% set x = {one} %}}"),
    ),
    lambda inner: st.one_of(
        st.tuples(_EXPRESSIONS, inner).map(lambda two: f"{{% for x in {two[0]} %}}{two[1]}{{% endfor %}}"),
        st.tuples(_EXPRESSIONS, inner, inner).map(lambda all: f"{{% if {all[0]} %}}{all[1]}{{% else %}}{all[2]}{{% endif %}}"),
        inner.map(lambda one: f"{{% macro m(x) %}}{one}{{% endmacro %}}"),
        inner.map(lambda one: f"{{% filter upper %}}{one}{{% endfilter %}}"),
        st.lists(inner, max_size=4).map("".join),
    ),
    max_leaves=8,
)  # fmt: skip


def templates() -> Bytes:
    """Templates that mostly have the right form."""
    return _PIECES.map(lambda text: text.encode())


# ---- JSON: models, documents, messages, figures -----------------------------------------------------------------------

_ODD = st.sampled_from(ODD)
_ANY = st.recursive(_ODD, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3))


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
                    "indices": st.fixed_dictionaries({"bufferView": number, "componentType": st.sampled_from((5121, 5123, 5126))}),
                    "values": st.fixed_dictionaries({"bufferView": number}),
                }
            ),
        },
    )  # fmt: skip
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
        primitive["attributes"] |= draw(st.dictionaries(st.sampled_from(("POSITION", "JOINTS_1", "WEIGHTS_1", "TEXCOORD_1")), number))
    if draw(st.booleans()):
        channel = {"sampler": draw(number), "target": {"node": draw(number), "path": draw(st.sampled_from(("scale", "weights", "x")))}}
        document["animations"][0]["channels"].append(channel)
        document["animations"][0]["samplers"][0]["interpolation"] = draw(st.sampled_from(("STEP", "CUBICSPLINE", "x")))
    return _as_json(document)


def gltf() -> Bytes:
    """glTF documents."""
    return _gltf()


def documents() -> Bytes:
    """Baselines, heads of rigs, and any JSON."""
    baseline = st.fixed_dictionaries({"format": st.just("plica-baseline"), "version": st.just(1), "accepted": st.dictionaries(st.text(), _ODD)})
    rig = st.fixed_dictionaries({"format": st.just("plica-rig"), "version": st.just(1)}, optional={"character": _ANY, "strengths": _ANY})
    return st.one_of(baseline, rig, _ANY).map(_as_json)


def figures() -> Bytes:
    """Entries of a cache."""
    worst = st.one_of(st.none(), st.lists(_ODD, min_size=3, max_size=3))
    figure = st.one_of(st.tuples(worst, worst, st.text(max_size=5)).map(list), _ANY).map(_as_json)
    return st.one_of(
        figure.map(lambda content: b"figures\n" + content), archives().map(lambda content: b"preparations\n" + content)
    )


@st.composite
def _conversation(draw: st.DrawFn) -> bytes:
    """A text that is opened, changed, and asked about."""
    folder = "file:///work-of-wren/"
    uri = draw(st.sampled_from((folder + "wren.plica", folder + "limb.plica", "untitled:1")))
    text = draw(st.sampled_from((character.SPEC, character.LIMB, "", "plica 1\r\n\U0001f9a6")) | _specs().map(bytes.decode))
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
            change = {"range": draw(span), "text": draw(st.sampled_from(("", "{", "}", "driver", "\n", "\U0001f9a6", "x of ")))}
            params = {"textDocument": {"uri": uri, "version": number + 2}, "contentChanges": [change]}
            messages.append({"method": "textDocument/didChange", "params": params})
            continue
        asked, params = {
            "at": (draw(st.sampled_from(("hover", "definition", "references", "completion", "prepareRename"))), {}),
            "rename": ("rename", {"newName": draw(st.sampled_from(("b", "", "a b", "{x}", "driver", "\U0001f9a6")))}),
            "whole": (draw(st.sampled_from(("documentSymbol", "formatting"))), {"options": {"tabSize": 4, "insertSpaces": True}}),
            "range": (draw(st.sampled_from(("codeAction", "inlayHint"))), {"range": draw(span), "context": {"diagnostics": []}}),
        }[method]
        at = {"position": draw(position), "context": {"includeDeclaration": True}} if method in ("at", "rename") else {}
        messages.append({"id": number + 1, "method": f"textDocument/{asked}", "params": {**place, **at, **params}})
    return _as_json(messages)


def conversations() -> Bytes:
    """What an editor sends."""
    return _conversation()


# ---- lines of words ------------------------------------------------------------------------------------------------


def _lines(kinds: dict[str, st.SearchStrategy[str]], most: int) -> st.SearchStrategy[str]:
    return st.lists(st.sampled_from(sorted(kinds)).flatmap(lambda kind: kinds[kind]), max_size=most).map("\n".join)


_NUMBER = st.sampled_from(("0", "1", "-1", "0.5", "1e12", "-1e300", "1e400", "nan", "90", "\u0664", "1_0", "x"))
_FEW = st.lists(_NUMBER, max_size=5).map(" ".join)


def wavefront() -> Bytes:
    """OBJ files."""
    corner = st.sampled_from(("1", "2", "3", "-1", "-3", "1/1", "2//1", "0", "9", "-9", "x", "1/", "9" * 30))
    kinds = {
        "v": st.lists(_NUMBER, min_size=3, max_size=4).map(lambda words: "v " + " ".join(words)),
        "good": st.just("v 0 1 2\nv 1 0 0\nv 0 0 1\nf 1 2 3"),
        "f": st.lists(corner, max_size=5).map(lambda words: "f " + " ".join(words)),
        "other": st.sampled_from(("# x", "\\", "vt 0 0", "o a", "f 1 2 \\\n3", "\0", "v", "s off")),
    }
    return _lines(kinds, 12).map(lambda text: text.encode())


@st.composite
def _motion(draw: st.DrawFn) -> bytes:
    channels = ("Xposition", "Yposition", "Zposition", "Zrotation", "Xrotation", "Yrotation")
    lines, width = ["HIERARCHY"], 0

    def joint(word: str, depth: int) -> None:
        nonlocal width
        lines.extend([f"{word} {draw(st.sampled_from(('spine', 'upperarm_lf', 'lowerarm_lf', 'a b', '')))}", "{"])
        lines.append("OFFSET " + " ".join(draw(st.lists(_NUMBER, min_size=3, max_size=3))))
        own = draw(st.lists(st.sampled_from(channels), max_size=6, unique=True))
        width += len(own)
        lines.append(" ".join(["CHANNELS", str(len(own)), *own]))
        for _ in range(draw(st.integers(0, 2)) if depth < 4 else 0):
            joint("JOINT", depth + 1)
        lines.append("}")

    joint("ROOT", 0)
    frames = draw(st.sampled_from((0, 1, 2, 3, 80_000_000)))
    lines += ["MOTION", f"Frames: {frames}", f"Frame Time: {draw(st.sampled_from(('0.04', '0', '-1', '1e9', 'nan', '1e-5')))}"]
    numbers = st.sampled_from(("0", "90", "-720", "1e11", "1e-320", "1e51"))
    for _ in range(min(frames, 3)):
        lines.append(" ".join(draw(st.lists(numbers, min_size=width, max_size=width))))
    return ("\n".join(lines) + "\n").encode()


def motion_capture() -> Bytes:
    """BVH files."""
    return _motion()


def acceptances() -> Bytes:
    """TOML of accepted changes."""
    key = st.sampled_from(("3f2a9c0d11e2b3c4", "'x'", "a.b", '""', "3F2A9C0D11E2B3C4", "\u0664"))
    value = st.sampled_from(('"agreed"', "''", "1", "[1, 2]", "{ a = 1 }", '"""a\nb"""', '"\\u001b[31m"', "1e400", "nan", "12:00:00"))
    kinds = {
        "pair": st.tuples(key, value).map(" = ".join),
        "table": key.map(lambda name: f"[{name}]"),
        "tables": key.map(lambda name: f"[[{name}]]"),
    }
    return _lines(kinds, 8).map(lambda text: text.encode())


def usd() -> Bytes:
    """OpenUSD text: the small stage with attributes put in, of any type."""
    from tests.fuzz.stages import SMALL_STAGE

    kind = st.sampled_from(("int", "float", "point3f", "matrix4d", "token", "string", "quatf", "half3", "bool", "asset", "texCoord2f"))
    name = st.sampled_from(
        (
            "points", "faceVertexCounts", "faceVertexIndices", "normals", "primvars:st", "primvars:skel:jointIndices", "joints",
            "primvars:skel:jointWeights", "restTransforms", "bindTransforms", "primvars:skel:geomBindTransform", "skel:joints",
        )
    )  # fmt: skip
    value = st.sampled_from(("[]", "[0]", "[0, 0, 0]", "[(0, 0, 0)]", "[(1e300, 0, 0)]", '["a", "a/b"]', "[-1, 9]", "None", "1", "[nan]"))
    about = st.sampled_from(("", " (elementSize = 2)", ' (interpolation = "constant")', ' (interpolation = "faceVarying"; elementSize = 0)'))
    line = st.tuples(kind, st.sampled_from(("[]", "")), name, value, about).map(lambda all: f"{all[0]}{all[1]} {all[2]} = {all[3]}{all[4]}")
    return st.tuples(st.lists(line, max_size=2), st.lists(line, max_size=2)).map(
        lambda two: SMALL_STAGE.replace("# bones", "\n".join(two[0])).replace("# skin", "\n".join(two[1])).encode()
    )


# ---- archives and images ------------------------------------------------------------------------------------------------


@st.composite
def _archive(draw: st.DrawFn) -> bytes:
    kinds = ("<i4", "<i8", "<u2", "<f4", "<f8", "<f2", "<c8", "|b1", "<U5", "|S3", "<M8[s]", [("a", "<i4"), ("b", "<f4")])
    shapes = ((), (0,), (1,), (3,), (3, 3), (2, 3), (1, 1, 1), (0, 3))
    names = ("indices", "offsets", "vertex_count", "fingerprint", "format", "version", "shapes", "a/indices", "a/offsets", "a/inbetweens")
    members = []
    for name in draw(st.lists(st.sampled_from(names), min_size=1, max_size=6)):
        array = np.zeros(draw(st.sampled_from(shapes)), np.dtype(draw(st.sampled_from(kinds))))
        if array.dtype.kind in "iuf" and array.size:
            with np.errstate(all="ignore"):
                array += np.arange(array.size).reshape(array.shape).astype(array.dtype)
                array *= np.array(draw(st.sampled_from((0, 1, -1, 1000)))).astype(array.dtype)
        if name in ("format", "shapes"):
            array = np.array("plica-offsets") if name == "format" else np.array(["a"])
        if name == "version":
            array = np.array(1, "<i4")
        held = io.BytesIO()
        np.lib.format.write_array(held, array, allow_pickle=False)
        members.append((f"{name}.npy", held.getvalue()))
    return zipped(members, draw(st.sampled_from((0, 8))))


def archives() -> Bytes:
    """NPZ files."""
    return _archive()


def images() -> Bytes:
    """Pictures of every form and mode that Pillow writes."""
    forms: dict[str, Callable[[], st.SearchStrategy[dict[str, Any]]]] = {
        "PNG": lambda: st.fixed_dictionaries({"compress_level": st.integers(0, 9)}, optional={"transparency": st.integers(0, 300)}),
        "TIFF": lambda: st.fixed_dictionaries({"compression": st.sampled_from(("raw", "tiff_lzw", "tiff_deflate", "packbits", "jpeg"))}),
        "JPEG": lambda: st.fixed_dictionaries({"quality": st.integers(1, 95), "progressive": st.booleans()}),
        "TGA": lambda: st.fixed_dictionaries({"compression": st.sampled_from((None, "tga_rle"))}),
        "BMP": lambda: st.just({}),
        "WEBP": lambda: st.fixed_dictionaries({"lossless": st.booleans()}),
    }  # fmt: skip

    def made(all_of_it: tuple[str, str, tuple[int, int], int, dict[str, Any]]) -> bytes:
        form, mode, size, value, how = all_of_it
        held = io.BytesIO()
        try:
            Image.new(mode, size, value).save(held, form, **how)
        except Exception:  # Pillow does not write every mode in every form
            return b""
        return held.getvalue()

    modes = st.sampled_from(("1", "L", "LA", "P", "PA", "RGB", "RGBA", "CMYK", "YCbCr", "LAB", "HSV", "I", "F", "I;16", "I;16B"))
    sizes = st.sampled_from(((1, 1), (4, 4), (3, 1), (1, 7), (64, 64)))
    return st.one_of(
        *(st.tuples(st.just(form), modes, sizes, st.integers(0, 255), how()).map(made) for form, how in forms.items())
    )
