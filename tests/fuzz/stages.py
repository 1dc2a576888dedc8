"""A small OpenUSD stage with a skinned mesh; `# bones` and `# skin` are where more can be put in."""

from __future__ import annotations

import tempfile
from pathlib import Path

SMALL_STAGE = """#usda 1.0
(
    defaultPrim = "Root"
    metersPerUnit = 1
    upAxis = "Y"
)
def SkelRoot "Root"
{
    def Skeleton "Bones" (prepend apiSchemas = ["SkelBindingAPI"])
    {
        uniform token[] joints = ["spine", "spine/arm_lf", "spine/arm_rt"]
        uniform matrix4d[] bindTransforms = [
            ((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (0, 0, 0, 1)),
            ((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (0.1, 0, 0, 1)),
            ((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (-0.1, 0, 0, 1))
        ]
        uniform matrix4d[] restTransforms = [
            ((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (0, 0, 0, 1)),
            ((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (0.1, 0, 0, 1)),
            ((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (-0.1, 0, 0, 1))
        ]
        # bones
    }
    def Mesh "Skin" (prepend apiSchemas = ["SkelBindingAPI"])
    {
        int[] faceVertexCounts = [3, 3]
        int[] faceVertexIndices = [0, 1, 2, 0, 2, 3]
        point3f[] points = [(-1, 0, 0), (0, -1, 0), (1, 0, 0), (0, 1, 0)]
        texCoord2f[] primvars:st = [(0, 0), (1, 0), (1, 1), (0, 1)] (interpolation = "vertex")
        uniform token[] skel:blendShapes = ["puff"]
        rel skel:blendShapeTargets = </Root/Skin/puff>
        rel skel:skeleton = </Root/Bones>
        int[] primvars:skel:jointIndices = [2, 0, 1, 0] (elementSize = 1; interpolation = "vertex")
        float[] primvars:skel:jointWeights = [1, 1, 1, 1] (elementSize = 1; interpolation = "vertex")
        # skin
        def BlendShape "puff"
        {
            uniform vector3f[] offsets = [(0, 0.1, 0)]
            uniform int[] pointIndices = [3]
        }
    }
}
"""


def crate() -> bytes:
    """The stage in OpenUSD's binary form; needs usd-core."""
    return _exported(".usdc")


def package() -> bytes:
    """The stage as an archive; needs usd-core."""
    from pxr import Sdf, UsdUtils

    with tempfile.TemporaryDirectory() as made:
        text, archive = Path(made) / "model.usda", Path(made) / "model.usdz"
        text.write_text(SMALL_STAGE, "utf-8")
        assert UsdUtils.CreateNewUsdzPackage(Sdf.AssetPath(str(text)), str(archive))
        return archive.read_bytes()


def _exported(ending: str) -> bytes:
    from pxr import Usd

    with tempfile.TemporaryDirectory() as made:
        text, other = Path(made) / "model.usda", Path(made) / f"model{ending}"
        text.write_text(SMALL_STAGE, "utf-8")
        Usd.Stage.Open(str(text)).Export(str(other))
        return other.read_bytes()
