"""A host over an OpenUSD stage: one of the two that `targets/python/hosts.md` names. Shapes are UsdSkel's BlendShapes.

Trials (poses and weights) are written to the stage's session layer alone; where the skin stands is what OpenUSD's own
baking says. Marks and bound joints are custom data of the prims that they are about.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from pxr import Gf, Sdf, Tf, Usd, UsdGeom, UsdSkel, Vt

Moves = dict[int, tuple[float, float, float]]


class UsdHost:
    """A stage with one Skeleton, whose joints are named by the last step of their paths.

    node: what the rig calls the node that shows the mesh; None for a rig that was made from a stage.
    """

    inbetweens = True

    def __init__(self, stage: Any, node: str | None = None) -> None:
        self.stage, self.node = stage, node
        self.skeleton = next(UsdSkel.Skeleton(prim) for prim in stage.Traverse() if prim.IsA(UsdSkel.Skeleton))
        self.paths = list(self.skeleton.GetJointsAttr().Get())
        self.names = [path.rpartition("/")[2] for path in self.paths]
        self.weights: dict[str, float] = {}
        self.before: tuple[str, dict[str, float]] | None = None
        self.baked: Any = None

    # ---- what the rig reads

    def local_transform(self, joint: str) -> tuple[list[float], list[float]]:
        matrix = self._local(joint)
        turn = matrix.RemoveScaleShear().ExtractRotationQuat()
        return list(matrix.ExtractTranslation()), [*turn.GetImaginary(), turn.GetReal()]

    def local_scale(self, joint: str) -> list[float]:
        matrix = self._local(joint)
        return [matrix.GetRow3(row).GetLength() for row in range(3)]

    def control(self, name: str) -> float:
        raise KeyError(name)

    def _local(self, joint: str) -> Any:
        if joint not in self.names:
            raise KeyError(joint)
        query = UsdSkel.Cache().GetSkelQuery(self.skeleton)
        return query.ComputeJointLocalTransforms(Usd.TimeCode.Default())[self.names.index(joint)]

    # ---- shapes

    def shapes(self) -> Iterator[tuple[tuple[str, str | None], str, str | None]]:
        for prim in self.stage.Traverse():
            for name, target in self._listed(prim) if prim.IsA(UsdGeom.Mesh) else ():
                yield (prim.GetName(), self.node), name, self.stage.GetPrimAtPath(target).GetCustomDataByKey("mark")

    def make_shape(self, mesh: tuple[str, str | None], name: str, mark: str) -> None:
        prim = self._prim(mesh[0])
        path = self._free(prim, name)
        UsdSkel.BlendShape.Define(self.stage, path).GetPrim().SetCustomDataByKey("mark", mark)
        self._list(prim, [*self._listed(prim), (name, path)])

    def rename_shape(self, mesh: tuple[str, str | None], name: str, new_name: str, mark: str) -> None:
        prim = self._prim(mesh[0])
        listed = self._listed(prim)
        old = dict(listed)[name]
        path = self._free(prim, new_name)
        edit = Sdf.BatchNamespaceEdit()
        edit.Add(old, path)
        assert self.stage.GetRootLayer().Apply(edit)
        self.stage.GetPrimAtPath(path).SetCustomDataByKey("mark", mark)
        self._list(prim, [(new_name, path) if one == name else (one, target) for one, target in listed])

    def remove_shape(self, mesh: tuple[str, str | None], name: str) -> None:
        prim = self._prim(mesh[0])
        listed = self._listed(prim)
        self.stage.RemovePrim(dict(listed)[name])
        self._list(prim, [(one, target) for one, target in listed if one != name])

    def read_shape(self, part: Mapping[str, Any], name: str) -> dict[float, Moves]:
        shape = self._shape(part, name)
        rows = list(shape.GetPointIndicesAttr().Get() or [])
        stages = {1.0: shape.GetOffsetsAttr().Get() or []}
        stages |= {inbetween.GetWeight(): inbetween.GetOffsets() for inbetween in shape.GetInbetweens()}
        return {
            at: {row: tuple(move) for row, move in zip(rows, offsets, strict=True) if any(move)}
            for at, offsets in stages.items()
        }

    def write_shape(self, part: Mapping[str, Any], name: str, stages: Mapping[float, Moves]) -> None:
        """An inbetween of UsdSkel moves the points of its shape, so these are all that any of the stages moves."""
        shape = self._shape(part, name)
        for inbetween in shape.GetInbetweens():
            shape.GetPrim().RemoveProperty(inbetween.GetAttr().GetName())
        rows = sorted({row for moves in stages.values() for row in moves})
        shape.CreatePointIndicesAttr(Vt.IntArray(rows))
        for number, (at, moves) in enumerate(sorted(stages.items())):
            offsets = Vt.Vec3fArray([Gf.Vec3f(*moves.get(row, (0.0, 0.0, 0.0))) for row in rows])
            if at == 1.0:
                shape.CreateOffsetsAttr(offsets)
                continue
            inbetween = shape.CreateInbetween(f"between_{number}")
            inbetween.SetWeight(at)
            inbetween.SetOffsets(offsets)

    def stored_vertices(self, part: Mapping[str, Any]) -> list[list[float]]:
        return np.array(UsdGeom.Mesh(self._prim(part["mesh"])).GetPointsAttr().Get(), float).tolist()  # type: ignore[no-any-return]

    # ---- binding and strengths

    def bound_joints(self) -> list[str]:
        return list(self.skeleton.GetPrim().GetCustomDataByKey("bound") or [])

    def bind_joints(self, joints: Sequence[str]) -> None:
        if joints:
            self.skeleton.GetPrim().SetCustomDataByKey("bound", Vt.StringArray(list(joints)))
        else:
            self.skeleton.GetPrim().ClearCustomDataByKey("bound")

    def set_strength(self, kind: str, name: str, value: float) -> None:
        if kind == "shape":
            self.weights[name], self.baked = value, None

    # ---- poses

    def pose(
        self, joints: Mapping[str, Any] | None, controls: Mapping[str, float], morphs: Mapping[str, float]
    ) -> None:
        assert not controls and not morphs, "this host's characters have neither"
        session, self.baked = self.stage.GetSessionLayer(), None
        if joints is None:
            if self.before is not None:
                text, self.weights = self.before
                session.ImportFromString(text)
            self.before = None
            return
        if self.before is None:
            self.before = session.ExportToString(), dict(self.weights)
        placed = [joints[name] for name in self.names]
        with Usd.EditContext(self.stage, session):
            animation = self._animation()
            animation.CreateJointsAttr(self.paths)
            animation.CreateTranslationsAttr([Gf.Vec3f(*translation) for translation, _, _ in placed])
            turns = [Gf.Quatd(w, x, y, z).GetNormalized() for _, (x, y, z, w), _ in placed]
            animation.CreateRotationsAttr(Vt.QuatfArray([Gf.Quatf(turn) for turn in turns]))
            animation.CreateScalesAttr(Vt.Vec3hArray([Gf.Vec3h(*scale) for _, _, scale in placed]))

    def posed_vertices(self, part: Mapping[str, Any]) -> list[list[float]]:
        """As OpenUSD bakes a copy of the stage."""
        if self.baked is None:
            with Usd.EditContext(self.stage, self.stage.GetSessionLayer()):
                animation = self._animation()
                animation.CreateBlendShapesAttr(list(self.weights))
                animation.CreateBlendShapeWeightsAttr(list(self.weights.values()))
            self.baked = Usd.Stage.CreateInMemory()
            self.baked.GetRootLayer().TransferContent(self.stage.Flatten())
            assert UsdSkel.BakeSkinning(self.baked.Traverse())
        mesh = UsdGeom.Mesh(self.baked.GetPrimAtPath(self._prim(part["mesh"]).GetPath()))
        world = np.array(UsdGeom.Xformable(mesh).ComputeLocalToWorldTransform(Usd.TimeCode.Default()))
        assert UsdGeom.GetStageUpAxis(self.stage) == UsdGeom.Tokens.y, "this host's stages have y up"
        points = np.array(mesh.GetPointsAttr().Get(), float) @ world[:3, :3] + world[3, :3]
        return (points * UsdGeom.GetStageMetersPerUnit(self.stage)).tolist()  # type: ignore[no-any-return]

    # ---- prims

    def _animation(self) -> Any:
        path = self.skeleton.GetPath().AppendChild("trial")
        UsdSkel.BindingAPI.Apply(self.skeleton.GetPrim()).CreateAnimationSourceRel().SetTargets([path])
        return UsdSkel.Animation.Define(self.stage, path)

    def _prim(self, mesh: str) -> Any:
        for prim in self.stage.Traverse():
            if prim.IsA(UsdGeom.Mesh) and prim.GetName() == mesh:
                return prim
        raise KeyError(mesh)

    def _free(self, prim: Any, name: str) -> Any:
        """A path below a mesh at which nothing is yet."""
        wanted = Tf.MakeValidIdentifier(name)
        number, path = 1, prim.GetPath().AppendChild(wanted)
        while self.stage.GetPrimAtPath(path):
            number += 1
            path = prim.GetPath().AppendChild(f"{wanted}_{number}")
        return path

    def _shape(self, part: Mapping[str, Any], name: str) -> Any:
        return UsdSkel.BlendShape(self.stage.GetPrimAtPath(dict(self._listed(self._prim(part["mesh"])))[name]))

    def _listed(self, prim: Any) -> list[tuple[str, Any]]:
        """The names and paths of a mesh's shapes."""
        binding = UsdSkel.BindingAPI(prim)
        names = binding.GetBlendShapesAttr().Get() or []
        return list(zip(names, binding.GetBlendShapeTargetsRel().GetTargets(), strict=True))

    def _list(self, prim: Any, listed: Iterable[tuple[str, Any]]) -> None:
        binding, listed = UsdSkel.BindingAPI(prim), list(listed)
        if listed:
            binding.CreateBlendShapesAttr([name for name, _ in listed])
            binding.CreateBlendShapeTargetsRel().SetTargets([path for _, path in listed])
            return
        for name in ("skel:blendShapes", "skel:blendShapeTargets"):
            prim.RemoveProperty(name)
