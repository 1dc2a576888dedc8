"""The node graphs of the target `materialx` as shading prims: the same nodes, of MaterialX's standard library."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from pxr import Gf, Sdf, UsdShade

from plica.rig.surfaces import Detail
from plica.targets.materialx.document import Element
from plica.targets.materialx.graph import GraphPlan, graph

_TYPES: Final = {
    "float": Sdf.ValueTypeNames.Float,
    "integer": Sdf.ValueTypeNames.Int,
    "vector2": Sdf.ValueTypeNames.Float2,
    "vector3": Sdf.ValueTypeNames.Float3,
    "vector4": Sdf.ValueTypeNames.Float4,
    "string": Sdf.ValueTypeNames.String,
    "filename": Sdf.ValueTypeNames.Asset,
}
_TAKEN_TYPES: Final = frozenset({"extract"})
"""Definitions that are named after the type of their input, and not of their output."""
_SURFACE: Final = "ND_standard_surface_surfaceshader"


def write_material(stage: Any, path: str, detail: Detail, plan: GraphPlan, uv: str) -> dict[str, Any]:
    """Adds the material of a detail; its inputs by the names of the folds that they fade.

    uv: the primvar that textures are read by.
    """
    material = UsdShade.Material.Define(stage, path)
    surface = UsdShade.Shader.Define(stage, f"{path}/Surface")
    surface.CreateIdAttr(_SURFACE)
    network = UsdShade.NodeGraph.Define(stage, f"{path}/Folds")
    document = graph(plan)
    inputs = {}
    for one in _children(document, "input"):
        said = dict(one.attributes)
        fold = said.get("uiname", said["name"])
        inputs[fold] = material.CreateInput(said["name"], Sdf.ValueTypeNames.Float)
        inputs[fold].Set(0.0)
        inputs[fold].SetDocumentation(f"the strength that the fold {fold} follows")
        network.CreateInput(said["name"], Sdf.ValueTypeNames.Float).ConnectToSource(inputs[fold])
    _write_nodes(stage, network, document, uv)
    normal = surface.CreateInput("normal", Sdf.ValueTypeNames.Float3)
    normal.ConnectToSource(network.GetOutput("normal"))
    out = surface.CreateOutput("out", Sdf.ValueTypeNames.Token)
    material.CreateSurfaceOutput("mtlx").ConnectToSource(out)
    material.GetPrim().SetDisplayName(detail.name)
    return inputs


def _children(document: Element, category: str) -> list[Element]:
    return [one for one in document.children if one.category == category]


def _write_nodes(stage: Any, network: Any, document: Element, uv: str) -> None:
    nodes = [one for one in document.children if one.category not in ("input", "output")]
    outputs = {}
    for node in nodes:
        said = dict(node.attributes)
        shader = UsdShade.Shader.Define(stage, network.GetPath().AppendChild(said["name"]))
        shader.CreateIdAttr(_definition(node))
        outputs[said["name"]] = shader.CreateOutput("out", _TYPES[said["type"]])
    for node in nodes:
        said = dict(node.attributes)
        shader = UsdShade.Shader(stage.GetPrimAtPath(network.GetPath().AppendChild(said["name"])))
        if node.category == "texcoord":
            shader.CreateInput("geomprop", Sdf.ValueTypeNames.String).Set(uv)
            continue
        for one in node.children:
            _write_input(shader, network, dict(one.attributes), outputs)
    for one in _children(document, "output"):
        said = dict(one.attributes)
        network.CreateOutput(said["name"], _TYPES[said["type"]]).ConnectToSource(outputs[said["nodename"]])


def _write_input(shader: Any, network: Any, said: Mapping[str, str], outputs: Mapping[str, Any]) -> None:
    held = shader.CreateInput(said["name"], _TYPES[said["type"]])
    if "nodename" in said:
        held.ConnectToSource(outputs[said["nodename"]])
    elif "interfacename" in said:
        held.ConnectToSource(network.GetInput(said["interfacename"]))
    else:
        held.Set(_value(said["type"], said["value"]))


def _value(kind: str, text: str) -> Any:
    match kind:
        case "float":
            return float(text)
        case "integer":
            return int(text)
        case "vector3":
            return Gf.Vec3f(*map(float, text.split(",")))
        case "filename":
            return Sdf.AssetPath(text)
    return text


def _definition(node: Element) -> str:
    """The name of a node's definition in MaterialX's standard library."""
    said = dict(node.attributes)
    kinds = {dict(one.attributes)["name"]: dict(one.attributes)["type"] for one in node.children}
    if node.category in ("texcoord", "geompropvalue"):
        return "ND_geompropvalue_vector2"
    if node.category == "normalmap":
        return "ND_normalmap_float"
    if node.category in _TAKEN_TYPES:
        return f"ND_{node.category}_{kinds['in']}"
    if node.category == "dotproduct":
        return f"ND_dotproduct_{kinds['in1']}"
    mixed = said["type"] != "float" and kinds.get("in2") == "float"
    return f"ND_{node.category}_{said['type']}{'FA' if mixed else ''}"
