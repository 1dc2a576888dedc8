"""The document against the MaterialX library: valid, code in two languages, and the graph agrees with our evaluator."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.mesh.arrays import Floats
from plica.rig.rig import Rig
from plica.rig.surfaces import Detail, DirectionMapPlace, Fold, MaskPlace
from plica.targets.materialx.emit import FoldMaps, document
from plica.texture.channels import CHANNELS
from plica.texture.detail_maps import DetailMaps, Mixing, factor_at, normals_at
from plica.texture.normal_maps import NormalMap, unit
from tests.targets.rigs import whole_rig

mx = pytest.importorskip("MaterialX", reason="the MaterialX library is not here: pip install plica[materialx]")

FOLDS = tuple("abcdefg")
MIXINGS: tuple[Mixing, ...] = ("plain", "reoriented")
RANDOM = np.random.default_rng(23)


@pytest.fixture(scope="module")
def definitions() -> Any:
    from tests.targets.materialx.interpreter import library

    return library()


def rig_of(mixing: Mixing, uv: str | None = None, names: tuple[str, ...] = FOLDS) -> Rig:
    return whole_rig()._replace(
        details=(Detail("fur", "relaxed.png", "contracted.png", uv, None, mixing),),
        folds=tuple(Fold(name, "none", name, "fur", "nose", None, 0.004) for name in names),
    )


def places_of(names: tuple[str, ...], uv: str | None) -> dict[str, MaskPlace]:
    """Four masks to a texture, over the set of the maps."""
    return {
        name: MaskPlace(f"masks.{number // 4}.png", CHANNELS[number % 4], uv or "TEXCOORD_0")
        for number, name in enumerate(names)
    }


def read(rig: Rig, places: dict[str, MaskPlace], definitions: Any) -> Any:
    from tests.targets.materialx.interpreter import read_document

    return read_document(document(Build(rig), FoldMaps(places), Diagnostics()), definitions)


VARIANTS = [
    (mixing, uv, names)
    for mixing in MIXINGS
    for uv in (None, "TEXCOORD_1", "st")
    for names in (FOLDS, FOLDS[:1], (), ("normal", "vec3", "in", "return"))
]


@pytest.mark.parametrize("mixing, uv, names", VARIANTS)
def test_the_library_finds_the_document_valid(
    mixing: Mixing, uv: str | None, names: tuple[str, ...], definitions: Any
) -> None:
    document = read(rig_of(mixing, uv, names[:4]), places_of(names[:4], uv), definitions)
    assert document.validate() == (True, "")
    graph = document.getNodeGraph("wren_fur")
    assert all(node.getNodeDef() is not None for node in graph.getNodes())


def test_the_id_of_the_build_is_the_documents_doc(definitions: Any) -> None:
    document = read(rig_of("plain")._replace(build="b" * 32), places_of(FOLDS, None), definitions)
    assert document.validate() == (True, "")
    assert document.getDocString() == "Plica build " + "b" * 32


@pytest.mark.parametrize("language", ["glsl", "osl"])
@pytest.mark.parametrize("mixing, uv, names", VARIANTS)
def test_code_is_generated(
    mixing: Mixing, uv: str | None, names: tuple[str, ...], language: str, definitions: Any
) -> None:
    """Every fold's strength is a parameter of the code and every texture is read."""
    import MaterialX.PyMaterialXGenGlsl as glsl  # noqa: N813
    import MaterialX.PyMaterialXGenOsl as osl  # noqa: N813
    import MaterialX.PyMaterialXGenShader as shading  # noqa: N813

    document = read(rig_of(mixing, uv, names[:4]), places_of(names[:4], uv), definitions)
    generator = {"glsl": glsl.GlslShaderGenerator, "osl": osl.OslShaderGenerator}[language].create()
    context = shading.GenContext(generator)
    context.registerSourceCodeSearchPath(mx.getDefaultDataSearchPath())
    (material,) = shading.findRenderableElements(document)
    assert material.getName() == "wren_fur_material"
    shader = generator.generate("wren", material, context)
    assert "mx_normalmap" in shader.getSourceCode("pixel")
    parameters = paths_of(shader)
    graph = document.getNodeGraph("wren_fur")
    assert {f"wren_fur/{given.getName()}" for given in graph.getInputs()} <= parameters
    assert {f"wren_fur/{image.getName()}/file" for image in graph.getNodes("image")} <= parameters


def paths_of(shader: Any) -> set[str]:
    """The places in the document that parameters of the generated code stand for."""
    blocks = shader.getStage("pixel").getUniformBlocks().values()
    return {block[number].getPath() for block in blocks for number in range(block.size())}


# ---- the graph against the evaluator


def texture(rows: int, columns: int, channels: int) -> Floats:
    """Stored values, with the extremes 0 and 1 in them."""
    values = RANDOM.integers(0, 256, (rows, columns, channels))
    values[0, 0], values[-1, -1] = 0, 255
    return values / 255.0


def normal_map(rows: int, columns: int) -> NormalMap:
    vectors = unit(RANDOM.normal(size=(rows, columns, 3)) * (1.0, 1.0, 0.5) + (0.0, 0.0, 1.0))
    vectors[..., 2] = np.abs(vectors[..., 2])
    return NormalMap(np.rint(vectors * 127.5 + 127.5).astype(np.uint8), 8)


def texels_and_edges() -> Floats:
    """Texel middles of a map of 16 by 16, the texture's borders and corners, places beyond them, and any others."""
    down, across = np.mgrid[0:16, 0:16]
    middles = np.stack([(across + 0.5) / 16, (down + 0.5) / 16], axis=-1).reshape(-1, 2)
    ends = np.array([(u, v) for u in (0.0, 0.5, 1.0, 1.03, -0.2) for v in (0.0, 0.31, 1.0, 1.97)])
    return np.concatenate([middles, ends, RANDOM.random((200, 2))])


STRENGTHS = [
    {},
    dict.fromkeys(FOLDS, 1.0),
    {"a": 1.0},
    {"a": 0.3, "d": 0.25, "g": 0.2},
    {"b": 1.5, "c": -0.5},
    dict(zip(FOLDS, RANDOM.random(7) * 0.4, strict=True)),
]


@pytest.mark.parametrize("strengths", STRENGTHS, ids=range(len(STRENGTHS)))
@pytest.mark.parametrize("uv", [None, "TEXCOORD_1", "st"])
@pytest.mark.parametrize("mixing", MIXINGS)
def test_the_graph_agrees_with_the_evaluator(
    mixing: Mixing, uv: str | None, strengths: dict[str, float], definitions: Any
) -> None:
    """Interpreted node by node from the library's reading of it; asked for 1/255, found far below."""
    from tests.targets.materialx.interpreter import Interpreter

    maps = DetailMaps(normal_map(16, 16), normal_map(16, 16), {}, mixing)
    images = {
        "masks.0.png": texture(8, 8, 4),
        "masks.1.png": texture(32, 16, 3),
        "maps/wren_fur_relaxed.png": maps.relaxed.stored / 255.0,
        "maps/wren_fur_contracted.png": maps.contracted.stored / 255.0,
    }
    masks = {
        name: images[place.file][..., CHANNELS.index(place.channel)] for name, place in places_of(FOLDS, uv).items()
    }
    maps = DetailMaps(maps.relaxed, maps.contracted, masks, mixing)
    where = texels_and_edges()
    key = {None: 0, "TEXCOORD_1": 1, "st": "st"}[uv]
    document = read(rig_of(mixing, uv), places_of(FOLDS, uv), definitions)
    interpreted = Interpreter(
        document, "wren_fur", images, {key: where}, {name: strengths.get(name, 0.0) for name in FOLDS}
    )
    expected = normals_at(maps, strengths, where)
    assert np.abs(interpreted.output("factor")[:, 0] - factor_at(maps, strengths, where)).max() < 1e-12
    for output in ("tangent_normal", "normal"):
        assert np.abs(interpreted.output(output) - expected).max() < 1e-9 < 1 / 255
    assert {"normalmap", "clamp", "image", "normalize"} <= interpreted.used


def test_a_mask_over_another_set(definitions: Any) -> None:
    from tests.targets.materialx.interpreter import Interpreter

    masks = {"a": texture(8, 8, 1), "b": texture(8, 8, 1)}
    maps = DetailMaps(normal_map(16, 16), normal_map(16, 16), {name: each[..., 0] for name, each in masks.items()})
    images = {
        "a.png": masks["a"],
        "b.png": masks["b"],
        "maps/wren_fur_relaxed.png": maps.relaxed.stored / 255.0,
        "maps/wren_fur_contracted.png": maps.contracted.stored / 255.0,
    }
    places = {"a": MaskPlace("a.png", "red", "TEXCOORD_0"), "b": MaskPlace("b.png", "red", "TEXCOORD_1")}
    first, second = RANDOM.random((300, 2)), RANDOM.random((300, 2))
    strengths = {"a": 0.4, "b": 0.5}
    document = read(rig_of("plain", None, ("a", "b")), places, definitions)
    result = Interpreter(document, "wren_fur", images, {0: first, 1: second}, strengths).output("normal")
    assert np.abs(result - normals_at(maps, strengths, first, {"b": second})).max() < 1e-9


def test_directions_are_mixed_and_turned_into_the_angle_of_wrinkles(definitions: Any) -> None:
    """Against the definition: double angles by mask times strength, at any place between texels; a fold without a map,
    and one whose map is over another set, have no part in it. The library makes code of it in both languages."""
    from tests.targets.materialx.interpreter import Interpreter, read_document

    names = ("a", "b", "c", "d")
    images = {name: texture(16, 16, 3) for name in ("a.directions.png", "b.directions.png", "d.directions.png")}
    masks = {name: texture(16, 16, 1) for name in names}
    flat = normal_map(16, 16).stored / 255.0
    images |= {f"maps/wren_fur_{name}.png": flat for name in ("relaxed", "contracted")}
    images |= {f"{name}.png": mask for name, mask in masks.items()}
    places = {name: MaskPlace(f"{name}.png", "red", "TEXCOORD_1" if name == "d" else "TEXCOORD_0") for name in names}
    maps = {name: DirectionMapPlace(f"{name}.directions.png", "", places[name].uv) for name in ("a", "b", "d")}
    content = document(Build(rig_of("plain", None, names)), FoldMaps(places, maps), Diagnostics())
    read_back = read_document(content, definitions)
    assert read_back.validate() == (True, "")
    assert [one.getName() for one in read_back.getNodeGraph("wren_fur").getOutputs()][3:] == [
        "directions",
        "wrinkle_angle",
    ]
    assert b"d.directions.png" not in content

    down, across = np.mgrid[0:16, 0:16]
    middles = np.stack([(across + 0.5) / 16, (down + 0.5) / 16], axis=-1).reshape(-1, 2)
    strengths = {"a": 0.9, "b": 0.4, "c": 1.0, "d": 1.0}
    graph = Interpreter(read_back, "wren_fur", images, {0: middles, 1: middles}, strengths)
    expected = np.zeros((256, 3))
    for name in ("a", "b"):
        stored = images[f"{name}.directions.png"].reshape(-1, 3)[:, :2]
        expected[:, :2] += (2.0 * stored - 1.0) * masks[name].reshape(-1, 1) * strengths[name]
    assert np.abs(graph.output("directions") - expected).max() < 1e-12
    lines = graph.output("wrinkle_angle")[:, 0]
    along = np.stack([np.cos(lines), np.sin(lines)], axis=1)
    # Across: turned by a quarter, a line's double angle is the opposite.
    double = np.stack([along[:, 0] ** 2 - along[:, 1] ** 2, 2.0 * along[:, 0] * along[:, 1]], axis=1)
    lengths = np.linalg.norm(expected[:, :2], axis=1, keepdims=True)
    assert np.abs(double * lengths + expected[:, :2]).max() < 1e-6  # the library holds numbers in single precision


def test_every_node_comes_from_the_standard_library(definitions: Any) -> None:
    """All nodes of the graph are of the library's part `stdlib`."""
    for mixing in MIXINGS:
        document = read(rig_of(mixing, "TEXCOORD_1"), places_of(FOLDS, "TEXCOORD_1"), definitions)
        nodes = document.getNodeGraph("wren_fur").getNodes()
        sources = {node.getNodeDef().getActiveSourceUri() for node in nodes}
        assert {source.replace("\\", "/").rsplit("/", 2)[1] for source in sources} == {"stdlib"}


# ---- the comparison sees what is wrong


def test_every_wrong_input_is_seen(definitions: Any) -> None:
    """Each input of each node is made wrong by itself: another number, another link, another strength, another file.

    The graph must then differ from the evaluator by more than the 1/255 that it may; or not be evaluated at all.
    """
    maps = DetailMaps(normal_map(16, 16), normal_map(16, 16), {}, "reoriented")
    images = {
        "masks.0.png": texture(8, 8, 4),
        "masks.1.png": texture(32, 16, 4),
        "maps/wren_fur_relaxed.png": maps.relaxed.stored / 255.0,
        "maps/wren_fur_contracted.png": maps.contracted.stored / 255.0,
    }
    names = FOLDS[:6]
    places = places_of(names, None)
    masks = {name: images[place.file][..., CHANNELS.index(place.channel)] for name, place in places.items()}
    where = np.random.default_rng(4).random((400, 2))
    strong = dict(zip(names, (0.5, 0.4, 0.9, 0.3, 0.6, -0.7), strict=True))
    weak = {name: 0.1 * strength for name, strength in strong.items()}
    for mixing in MIXINGS:
        maps = DetailMaps(maps.relaxed, maps.contracted, masks, mixing)
        content = document(Build(rig_of(mixing, None, names)), FoldMaps(places), Diagnostics())

        def apart(changed: bytes, maps: DetailMaps = maps) -> float:
            return max(_apart(changed, maps, images, where, strengths, definitions) for strengths in (strong, weak))

        assert apart(content) < 1e-9
        wrong = list(_wrong(content))
        assert len(wrong) > 50
        unseen = {told for told, changed in wrong if apart(changed) <= 1 / 255}
        # These change the length of a vector alone, and `normalmap` brings it back to 1.
        before = {"plain": "between", "reoriented": "turned"}[mixing]
        harmless = {f"halved.in1: mixed -> {before}", "halved.in2: 0.5 -> 0.75", "stored.in1: halved -> mixed"}
        assert unseen == harmless


def _apart(
    content: bytes,
    maps: DetailMaps,
    images: dict[str, Floats],
    where: Floats,
    strengths: dict[str, float],
    definitions: Any,
) -> float:
    """The greatest difference of any output from the evaluator's; infinite where the graph cannot be evaluated."""
    from tests.targets.materialx.interpreter import Interpreter, read_document

    other = where[:, ::-1]
    graph = Interpreter(
        read_document(content, definitions), "wren_fur", images, {0: where, 1: other, "none": where}, strengths
    )
    factor, normals = factor_at(maps, strengths, where), normals_at(maps, strengths, where)
    try:
        result = [
            np.abs(graph.output("factor")[:, 0] - factor).max(),
            np.abs(graph.output("tangent_normal") - normals).max(),
            np.abs(graph.output("normal") - normals).max(),
        ]
    except (AssertionError, LookupError, RecursionError, ValueError, AttributeError):
        return np.inf
    return float(max(result)) if np.isfinite(result).all() else np.inf


def _wrong(content: bytes) -> Iterator[tuple[str, bytes]]:
    """Documents with one input made wrong, and what was done."""
    root = ElementTree.fromstring(content)
    graph = root.find("nodegraph")
    assert graph is not None
    nodes = [node for node in graph if node.tag not in ("input", "output")]
    for node in nodes:
        for given in node:
            for attribute, others in _others(given, node, nodes, graph):
                right = given.get(attribute, "")
                for other in others:
                    given.set(attribute, other)
                    yield f"{node.get('name')}.{given.get('name')}: {right} -> {other}", ElementTree.tostring(root)
                given.set(attribute, right)


def _others(
    given: ElementTree.Element, node: ElementTree.Element, nodes: list[ElementTree.Element], graph: ElementTree.Element
) -> Iterator[tuple[str, list[str]]]:
    """An attribute of an input that says where its value comes from, and what it could say instead."""
    if "nodename" in given.attrib:
        right = given.get("nodename")
        before = nodes[: nodes.index(node)]
        alike = [str(each.get("name")) for each in before if each.get("type") == given.get("type")]
        yield "nodename", [name for name in alike if name != right][-1:]
    elif "interfacename" in given.attrib:
        strengths = [str(each.get("name")) for each in graph.findall("input")]
        yield "interfacename", [name for name in strengths if name != given.get("interfacename")][:1]
    elif given.get("type") == "filename":
        files = {str(each.get("value")) for each in graph.iter("input") if each.get("type") == "filename"}
        yield "value", sorted(files - {given.get("value")})[:1]
    else:
        numbers = [float(number) for number in given.get("value", "").split(",")]
        whole = given.get("type") == "integer"
        changed = [number + (1 if whole else 0.25) for number in numbers]
        yield "value", [", ".join(f"{number:g}" for number in changed)]
