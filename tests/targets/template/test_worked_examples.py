"""The worked examples: what the templates of the page make is read and compiled as the programs they are for would.

The forms are our own, invented for the page. A rig description is parsed and gives the strengths of the test vectors; a
shader include is compiled and run by a browser's WebGL 2 (Khronos, GLSL ES 3.00).
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import plica
from plica.targets.template.model_page import model_page
from tests.support.cloth import cloth
from tests.support.output_sets import NEW_SPEC

if TYPE_CHECKING:
    from playwright.sync_api import Browser

PAGE = Path(__file__).resolve().parents[3] / "targets" / "template"
EXAMPLES = PAGE / "example"

SPEC = """plica 1
character otter {
    skeleton {
        joint hips   at 0 m, 1 m, 0 m
        joint knee   under hips  at 0 m, -40 cm, 0 cm  turned about x 15 deg
        joint "ankle \\"low\\""  under knee  at 0 m, -40 cm, 0 cm
    }
}
control mood { range 0 .. 2   rest 0 }
driver bent  { reads bend of knee             span 0 deg .. 120 deg  curve smooth }
driver twist { reads rotation about y of knee span 0 deg .. -60 deg  curve linear 0 0, 0.5 0.2, 1 1 }
driver smile { reads control mood             span 0 .. 2 }
driver foot  { reads rotation about x of "ankle \\"low\\"" span 0 deg .. 40 deg  curve 0 0, 0.3 0.6, 1 1 }
combine both = product(bent, twist)
combine most = greatest(smile, both, foot)
"""
TOKEN = re.compile(r'"(?:\\.|[^"\\])*"|\S+')


class Reed:
    """A reader of the rig description: lines of words, texts as JSON has them."""

    def __init__(self, text: str) -> None:
        self.lines = [[json.loads(word) if word[0] == '"' else word for word in TOKEN.findall(line)]
                      for line in text.splitlines()]  # fmt: skip
        assert self.lines[0][:2] == ["reed", "1"]
        self.rests = {words[1]: [float(word) for word in words[-4:]] for words in self.of("joint")}

    def of(self, *kinds: str) -> list[list[Any]]:
        return [words for words in self.lines[1:] if words[0] in kinds]

    def strengths(self, pose: Mapping[str, Any]) -> dict[str, float]:
        result: dict[str, float] = {}
        ways: dict[str, Any] = {"product": math.prod, "least": min, "greatest": max}
        for words in self.of("drive", "mix"):
            if words[0] == "mix":
                result[words[1]] = ways[words[2]]([result[name] for name in words[3:]])
                continue
            over = words.index("over")
            start, end = map(float, words[over + 1 : over + 3])
            share = min(max((self._read(words[2:over], pose) - start) / (end - start), 0.0), 1.0)
            result[words[1]] = min(max(curve(words[over + 3], list(map(float, words[over + 4 :])), share), 0.0), 1.0)
        return result

    def _read(self, words: Sequence[Any], pose: Mapping[str, Any]) -> float:
        if words[0] == "dial":
            rest = next(float(dial[4]) for dial in self.of("dial") if dial[1] == words[1])
            return float(pose["controls"].get(words[1], rest)) - rest
        now = pose["joints"].get(words[1], {}).get("rotation", self.rests[words[1]])
        size = math.hypot(*now)
        *v, w = since(self.rests[words[1]], [part / size for part in now])
        if words[0] == "bend":
            return 2.0 * math.atan2(math.hypot(*v), abs(w))
        along = sum(a * float(b) for a, b in zip(v, words[2:], strict=True))
        return 2.0 * math.atan2(*((-along, -w) if w < 0.0 or (w == 0.0 and along < 0.0) else (along, w)))


def since(rest: Sequence[float], now: Sequence[float]) -> list[float]:
    """conj(rest) now."""
    x, y, z, w = -rest[0], -rest[1], -rest[2], rest[3]
    a, b, c, d = now
    return [w * a + x * d + y * c - z * b, w * b - x * c + y * d + z * a, w * c + x * b - y * a + z * d,
            w * d - x * a - y * b - z * c]  # fmt: skip


def curve(kind: str, numbers: list[float], u: float) -> float:
    if kind == "line":
        return u
    width = {"broken": 2, "cubic": 3}[kind]
    knots = [numbers[place : place + width] for place in range(0, len(numbers), width)]
    one, two = next(pair for pair in pairwise(knots) if u <= pair[1][0])
    h = two[0] - one[0]
    t = (u - one[0]) / h
    if kind == "broken":
        return one[1] + t * (two[1] - one[1])
    return (
        (1 + 2 * t) * (1 - t) ** 2 * one[1]
        + t * (1 - t) ** 2 * h * one[2]
        + t * t * (3 - 2 * t) * two[1]
        - t * t * (1 - t) * h * two[2]
    )


def built(character: plica.Character, template: str, *more: str) -> plica.BuiltFiles:
    options = {"template": {"template": str(EXAMPLES / template)}, "masks": {"size": "64"}}
    return plica.build_files(character, ["template", *more], options=options)


def test_the_rig_description_gives_the_strengths_of_the_vectors(tmp_path: Path) -> None:
    character = plica.compile_text(SPEC, folder=tmp_path)
    assert character.ok, character.diagnostics
    files = built(character, "rig.reed.jinja", "json").files
    reed, vectors = Reed(files["rig.reed"].decode()), json.loads(files["otter.vectors.json"])
    assert reed.lines[0][3] == vectors["build"]
    for vector in vectors["vectors"]:
        found = reed.strengths(vector["pose"])
        assert list(found) == list(vector["strengths"])
        assert found == pytest.approx(vector["strengths"], rel=0, abs=1e-9)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("driver far { reads gap of knee from hips  span 0 m .. 1 m }", "far reads gap, for which there is no line"),
        ("driver ease { reads control mood  span 0 .. 2  curve ease-in }", "ease has a curve bezier"),
        ("driver open { reads control mood  span 0 .. 2  unclamped }", "open goes on beyond its span"),
        ("combine deep = sum(smile, product(bent, foot))", "deep is a combine, for which there is no line"),
    ],
)
def test_what_the_form_has_no_line_for_is_refused(line: str, told: str, tmp_path: Path) -> None:
    result = built(plica.compile_text(SPEC + line + "\n", folder=tmp_path), "rig.reed.jinja")
    assert not result.files
    assert [one.code for one in result.diagnostics] == ["PL614"]
    assert told in result.diagnostics[0].message


SHADER = """#version 300 es
precision highp float;
INCLUDE
uniform float strengths[CLOTH_STRENGTHS];
uniform vec4 mask;
out float result;
void main() { result = cloth_weave(strengths, mask); gl_Position = vec4(0.0); }
"""
RUN = """([vertex, cases]) => {
    const gl = document.createElement("canvas").getContext("webgl2");
    const part = (kind, source) => {
        const shader = gl.createShader(kind);
        gl.shaderSource(shader, source);
        gl.compileShader(shader);
        if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
        return shader;
    };
    const program = gl.createProgram();
    gl.attachShader(program, part(gl.VERTEX_SHADER, vertex));
    gl.attachShader(program, part(gl.FRAGMENT_SHADER, "#version 300 es\\nvoid main() {}"));
    gl.transformFeedbackVaryings(program, ["result"], gl.SEPARATE_ATTRIBS);
    gl.linkProgram(program);
    gl.useProgram(program);
    gl.bindBufferBase(gl.TRANSFORM_FEEDBACK_BUFFER, 0, gl.createBuffer());
    gl.bufferData(gl.TRANSFORM_FEEDBACK_BUFFER, 4, gl.STREAM_READ);
    gl.enable(gl.RASTERIZER_DISCARD);
    return cases.map(([strengths, mask]) => {
        gl.uniform1fv(gl.getUniformLocation(program, "strengths"), strengths);
        gl.uniform4fv(gl.getUniformLocation(program, "mask"), mask);
        gl.beginTransformFeedback(gl.POINTS);
        gl.drawArrays(gl.POINTS, 0, 1);
        gl.endTransformFeedback();
        const found = new Float32Array(1);
        gl.getBufferSubData(gl.TRANSFORM_FEEDBACK_BUFFER, 0, found);
        return found[0];
    });
}"""


def test_the_shader_include_compiles_and_contracts_by_mask_and_strength(tmp_path: Path, browser: Browser) -> None:
    """clip(sum of mask times strength), as the page of the rig says."""
    character = plica.compile_file(cloth(tmp_path, NEW_SPEC))
    files = built(character, "folds.glsl.jinja", "masks", "json").files
    rig = json.loads(files["cloth.rig.json"])
    include = files["folds.glsl"].decode()
    assert f"// Build {rig['build']}" in include
    names, folds = [one["name"] for one in rig["strengths"]], rig["folds"]
    assert len({fold["mask"]["file"] for fold in folds}) == 1
    colours = ["red", "green", "blue", "alpha"]
    cases, expected = [], []
    for strength in (0.0, 0.25, 1.0):
        for mask in ([0.5, 0.25, 0.125, 0.0625], [1.0, 1.0, 1.0, 1.0], [0.0, 0.5, 0.0, 0.5]):
            cases.append([[strength] * len(names), mask])
            total = sum(mask[colours.index(fold["mask"]["channel"])] * strength for fold in folds)
            expected.append(min(max(total, 0.0), 1.0))
    assert max(expected) == 1.0 and 0.0 < sorted(set(expected))[1] < 1.0
    page = browser.new_page()
    assert page.evaluate(RUN, [SHADER.replace("INCLUDE", include), cases]) == pytest.approx(expected, abs=1e-6)


def test_the_shader_include_without_masks_is_refused(tmp_path: Path) -> None:
    result = built(plica.compile_file(cloth(tmp_path, NEW_SPEC)), "folds.glsl.jinja")
    assert [one.code for one in result.diagnostics if one.code == "PL614"] == ["PL614"]
    assert "build the target masks as well" in result.diagnostics[-1].message


def test_the_page_of_the_model_is_written_from_the_records() -> None:
    assert (PAGE / "model.md").read_text("utf-8") == model_page()
    assert "[the model](model.md)" in (PAGE / "README.md").read_text("utf-8")
