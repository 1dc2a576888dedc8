"""The document against the MaterialX library: valid, code in two languages, and the graph agrees with our evaluator."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from plica.build.model import Build
from plica.diagnostics import Diagnostics
from plica.mesh.model import Floats
from plica.rig.model import Detail, Fold, Rig
from plica.targets.materialx.emit import document
from plica.texture.detail import DetailMaps, Mixing, factor_at, normals_at
from plica.texture.normal_maps import NormalMap, unit
from plica.texture.places import CHANNELS, MaskPlace
from tests.targets.rigs import whole_rig

mx = pytest.importorskip("MaterialX", reason="the MaterialX library is not here: pip install plica[materialx]")

FOLDS = tuple("abcdefg")
PLACES = {name: MaskPlace(f"masks.{number // 4}.png", CHANNELS[number % 4]) for number, name in enumerate(FOLDS)}
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


def read(rig: Rig, places: dict[str, MaskPlace], definitions: Any) -> Any:
    from tests.targets.materialx.interpreter import read_document

    return read_document(document(Build(rig), places, Diagnostics()), definitions)


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
    places = {name: MaskPlace("m.png", CHANNELS[number]) for number, name in enumerate(names[:4])}
    document = read(rig_of(mixing, uv, names[:4]), places, definitions)
    assert document.validate() == (True, "")
    graph = document.getNodeGraph("wren_fur")
    assert all(node.getNodeDef() is not None for node in graph.getNodes())


@pytest.mark.parametrize("language", ["glsl", "osl"])
@pytest.mark.parametrize("mixing, uv, names", VARIANTS)
def test_code_is_generated(
    mixing: Mixing, uv: str | None, names: tuple[str, ...], language: str, definitions: Any
) -> None:
    """Every fold's strength is a parameter of the code and every texture is read."""
    import MaterialX.PyMaterialXGenGlsl as glsl  # noqa: N813
    import MaterialX.PyMaterialXGenOsl as osl  # noqa: N813
    import MaterialX.PyMaterialXGenShader as shading  # noqa: N813

    places = {name: MaskPlace("m.png", CHANNELS[number]) for number, name in enumerate(names[:4])}
    document = read(rig_of(mixing, uv, names[:4]), places, definitions)
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
    masks = {name: images[place.file][..., CHANNELS.index(place.channel)] for name, place in PLACES.items()}
    maps = DetailMaps(maps.relaxed, maps.contracted, masks, mixing)
    where = texels_and_edges()
    key = {None: 0, "TEXCOORD_1": 1, "st": "st"}[uv]
    document = read(rig_of(mixing, uv), PLACES, definitions)
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
    places = {"a": MaskPlace("a.png", "red"), "b": MaskPlace("b.png", "red", "TEXCOORD_1")}
    first, second = RANDOM.random((300, 2)), RANDOM.random((300, 2))
    strengths = {"a": 0.4, "b": 0.5}
    document = read(rig_of("plain", None, ("a", "b")), places, definitions)
    found = Interpreter(document, "wren_fur", images, {0: first, 1: second}, strengths).output("normal")
    assert np.abs(found - normals_at(maps, strengths, first, {"b": second})).max() < 1e-9


def test_every_node_comes_from_the_standard_library(definitions: Any) -> None:
    """All nodes of the graph are of the library's part `stdlib`."""
    for mixing in MIXINGS:
        document = read(rig_of(mixing, "TEXCOORD_1"), PLACES, definitions)
        nodes = document.getNodeGraph("wren_fur").getNodes()
        sources = {node.getNodeDef().getActiveSourceUri() for node in nodes}
        assert {source.replace("\\", "/").rsplit("/", 2)[1] for source in sources} == {"stdlib"}
