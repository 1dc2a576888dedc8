"""The files that a model is made of: what it refers to, and nothing else that lies beside it."""

from __future__ import annotations

import json
import os
import struct
from pathlib import Path

import pytest

from plica.mesh.computed_cache import ComputedCache
from plica.readers.companions import companions
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import read_outline
from tests.support.repositories import no_file

pytestmark = pytest.mark.skipif(os.name == "nt", reason="links and pipes as POSIX has them")


def gltf(*uris: str) -> bytes:
    buffers = [{"uri": uri, "byteLength": 4} for uri in uris]
    return json.dumps({"asset": {"version": "2.0"}, "buffers": buffers}).encode()


def glb(document: bytes) -> bytes:
    padded = document + b" " * (-len(document) % 4)
    return struct.pack("<4sII", b"glTF", 2, 20 + len(padded)) + struct.pack("<I4s", len(padded), b"JSON") + padded


def usda(*layers: str) -> str:
    listed = ", ".join(f"@{layer}@" for layer in layers)
    return f"#usda 1.0\n(\n    subLayers = [{listed}]\n)\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "models"
    place.mkdir()
    (tmp_path / "secret.bin").write_bytes(b"1234")
    (place / "link.bin").symlink_to("../secret.bin")
    (place / "here.bin").write_bytes(b"1234")
    return place


@pytest.mark.parametrize("ending", ["gltf", "glb"])
def test_buffers_inside_the_models_folder(folder: Path, ending: str) -> None:
    addresses = (
        "here.bin", "./here.bin", "sub/../here.bin", "a%20b.bin", "data:,abcd",
        "../secret.bin", "..%2Fsecret.bin", "link.bin",
        (folder.parent / "secret.bin").as_posix(), "http://example.org/a.bin", "file:///etc/passwd", "//host/a.bin",
        "con.bin", "a.bin:stream", "%00.bin", "%ff.bin", ".git/config", "",
    )  # fmt: skip
    model = folder / f"wren.{ending}"
    model.write_bytes(gltf(*addresses) if ending == "gltf" else glb(gltf(*addresses)))
    assert companions(model) == (folder / "here.bin", folder / "a b.bin")
    digest = ComputedCache().digest(model)
    (folder.parent / "secret.bin").write_bytes(b"5678")
    assert ComputedCache().digest(model) == digest
    (folder / "a b.bin").write_bytes(b"5678")
    assert ComputedCache().digest(model) != digest


def test_a_buffer_that_is_no_file_is_not_opened(folder: Path) -> None:
    no_file("pipe", folder / "pipe.bin")
    (folder / "wren.gltf").write_bytes(gltf("pipe.bin"))
    assert ComputedCache().digest(folder / "wren.gltf")
    assert ComputedCache().digest(no_file("pipe", folder / "pipe.gltf")) == ""


@pytest.mark.parametrize(
    "content", [b"", b"[]", b"{", b'{"buffers": 1}', b'{"buffers": [1, {"uri": 2}]}', b"[" * 99999]
)
def test_what_is_no_model_has_no_companions(folder: Path, content: bytes) -> None:
    (folder / "wren.gltf").write_bytes(content)
    assert companions(folder / "wren.gltf") == ()


class TestLayers:
    """OpenUSD: sublayers, references and payloads, of variants too."""

    @pytest.fixture(autouse=True)
    def usd(self) -> None:
        pytest.importorskip("pxr", reason="usd-core is not installed")

    def test_only_what_is_referred_to_is_read(self, folder: Path) -> None:
        """Beside the model lie a pipe, a file of a terabyte and what is no model."""
        no_file("pipe", folder / "pipe.usda")
        with (folder / "huge.usd").open("wb") as file:
            file.truncate(1 << 40)
        (folder / "damaged.usdz").write_bytes(b"PK\x03\x04")
        (folder / "skin.usda").write_text(usda("fur.usda"), "utf-8")
        (folder / "fur.usda").write_text(usda(), "utf-8")
        (folder / "wren.usda").write_text(usda("skin.usda", "./later.usda"), "utf-8")
        assert sorted(file.name for file in companions(folder / "wren.usda")) == ["fur.usda", "later.usda", "skin.usda"]
        memory = ComputedCache()
        digests = [memory.digest(folder / "wren.usda")]
        (folder / "later.usda").write_text(usda("last.usda"), "utf-8")
        digests.append(memory.digest(folder / "wren.usda"))
        (folder / "last.usda").write_text(usda(), "utf-8")
        digests.append(memory.digest(folder / "wren.usda"))
        (folder / "fur.usda").write_text(usda() + "\n", "utf-8")
        digests.append(memory.digest(folder / "wren.usda"))
        assert len(set(digests)) == 4 and all(digests)

    def test_references_and_payloads_of_all_variants_count(self, folder: Path) -> None:
        (folder / "wren.usda").write_text(
            """#usda 1.0
def "a" (
    references = @one.usda@</x>
    prepend variantSets = "v"
    variants = { string v = "first" }
)
{
    variantSet "v" = {
        "first" {
            def "b" (payload = @two.usda@</x>) { }
        }
        "second" {
            def "b" (payload = @three.usda@</x>) { }
        }
    }
}
""".replace("{ }", "{\n            }"),
            "utf-8",
        )
        for name in ("one", "two", "three"):
            (folder / f"{name}.usda").write_text('#usda 1.0\ndef "x" {\n}\n', "utf-8")
        assert sorted(file.stem for file in companions(folder / "wren.usda")) == ["one", "three", "two"]

    @pytest.mark.parametrize("kind", ["pipe", "socket", "device", "folder"])
    def test_a_layer_that_is_no_file_is_refused_before_it_is_opened(self, folder: Path, kind: str) -> None:
        no_file(kind, folder / "skin.usda")
        (folder / "wren.usda").write_text(usda("skin.usda"), "utf-8")
        with pytest.raises(UnreadableModel, match="outside" if kind == "device" else "not a file"):
            read_outline(folder / "wren.usda")
        assert companions(folder / "wren.usda") == ()

    @pytest.mark.parametrize("layer", ["../skin.usda", "{above}/skin.usda", "link.usda", "fur/../../skin.usda"])
    def test_a_layer_outside_the_folder_is_refused_before_it_is_opened(self, folder: Path, layer: str) -> None:
        no_file("pipe", folder.parent / "skin.usda")
        (folder / "link.usda").symlink_to("../skin.usda")
        (folder / "wren.usda").write_text(usda(layer.format(above=folder.parent.as_posix())), "utf-8")
        with pytest.raises(UnreadableModel, match=r"outside its folder"):
            read_outline(folder / "wren.usda")

    def test_a_layer_in_a_package_cannot_leave_it(self, folder: Path) -> None:
        from pxr import UsdUtils

        (folder / "base.usda").write_text('#usda 1.0\ndef "x" {\n}\n', "utf-8")
        (folder / "wren.usda").write_text(usda("base.usda"), "utf-8")
        assert UsdUtils.CreateNewUsdzPackage(str(folder / "wren.usda"), str(folder / "wren.usdz"))
        assert companions(folder / "wren.usdz") == ()
        read_outline(folder / "wren.usdz")

    def test_a_layer_is_no_larger_than_a_model_may_be(self, folder: Path) -> None:
        with (folder / "skin.usdc").open("wb") as file:
            file.truncate(1 << 40)
        (folder / "wren.usda").write_text(usda("skin.usdc"), "utf-8")
        with pytest.raises(UnreadableModel, match="--limit model-bytes"):
            read_outline(folder / "wren.usda")
