"""What Plica takes out of a composed OpenUSD stage, as plain data. Runs in the process that reads one model.

Nothing is judged here beyond what needs the library: what is of another type than expected is passed on as a sentence
under the key `fault`, and refuses the model only where that part of it is used. The placement of the Skeleton prim in
the stage counts, as it does in UsdSkel (openusd.org/release/api/_usd_skel__schemas.html). Matrices take row vectors.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from itertools import pairwise
from typing import Any

from pxr import Gf, Sdf, Tf, Usd, UsdGeom, UsdSkel, Vt

from plica.readers.between_keys import parts_between

Item = dict[str, Any]
Keep = Callable[[str, tuple[int, ...], bytes], Item]
"""Takes an array's element format, shape and bytes; gives what stands for it in the answer."""

CARRIED_KEY, CARRIED_FORMAT = "plica", "plica-usd"
"""Where in a layer's own data (`customLayerData`) the target `usd` puts a rig, and how it calls the form."""
NUMBERS = "efdbBhHiIlLqQ"  # element formats of the module struct
NOTHING: Item = {"nothing": True}
# UsdSkelBindingAPI's names; what is not stated is classicLinear.
JOINT_WEIGHTS, SKINNING_METHOD = "primvars:skel:jointWeights", "primvars:skel:skinningMethod"
SKINNING_METHODS = {"classicLinear": "linear", "dualQuaternion": "dual quaternion"}
TWO_NUMBERS = ("texCoord2f[]", "texCoord2d[]", "texCoord2h[]", "float2[]")


class _Fault(Exception):  # noqa: N818 - it names the state of a part, not a fault of ours
    """Why a part cannot be used."""


def extract(stage: Usd.Stage, keep: Keep, motion: bool = False) -> Item:
    """The stage's meshes, skeletons and animations in its order, instances written out; on wish with their motion."""
    result: Item = {
        "meshes": [],
        "skeletons": [],
        "animations": [],
        "motions": [],
        "unit": UsdGeom.GetStageMetersPerUnit(stage),
        "unit_stated": bool(UsdGeom.StageHasAuthoredMetersPerUnit(stage)),
        "carried": _carried(stage),
    }
    extractor = _Extractor(stage, keep, named=result["carried"] is not None)
    for prim in Usd.PrimRange.Stage(stage, Usd.TraverseInstanceProxies()):
        if prim.IsA(UsdGeom.Mesh):
            result["meshes"].append(extractor.mesh(prim))
        elif prim.IsA(UsdSkel.Skeleton):
            result["skeletons"].append(extractor.skeleton(UsdSkel.Skeleton(prim)))
            if motion and (moved := extractor.motion(UsdSkel.Skeleton(prim))) is not None:
                result["motions"].append(moved)
        elif prim.IsA(UsdSkel.Animation):
            result["animations"].append(prim.GetName())
    return result


class _Extractor:
    def __init__(self, stage: Usd.Stage, keep: Keep, named: bool) -> None:
        """`named`: whether joints are called by `jointNames`, which our own layers state, and not by their paths."""
        self._stage, self._keep, self._named = stage, keep, named
        self._caches: dict[Sdf.Path, UsdSkel.Cache] = {}

    # ---- meshes -------------------------------------------------------------------------------------

    def mesh(self, prim: Usd.Prim) -> Item:
        mesh = UsdGeom.Mesh(prim)
        binding = UsdSkel.BindingAPI(prim)
        skeleton = binding.GetInheritedSkeleton()
        root = UsdSkel.Root.Find(prim)
        # Skinning reaches what lies below a SkelRoot; baked files keep the binding outside of one.
        skinned = bool(root and skeleton and self._has_influences(prim, root))
        return {
            "path": str(prim.GetPath()),
            "name": prim.GetName(),
            "to_model": self._part(lambda: self._to_metres_y_up(mesh)),
            "points": self._attribute(mesh.GetPointsAttr()),
            "counts": self._attribute(mesh.GetFaceVertexCountsAttr()),
            "corners": self._attribute(mesh.GetFaceVertexIndicesAttr()),
            "left_handed": str(mesh.GetOrientationAttr().Get()) == str(UsdGeom.Tokens.leftHanded),
            "normals": self._part(lambda: self._normals(mesh)),
            "uv_sets": [self._primvar(primvar) for primvar in _uv_primvars(prim)],
            "blend_shapes": self._part(lambda: self._blend_shapes(prim, binding)),
            "skeleton": str(skeleton.GetPath()) if skeleton else None,
            "skinned": skinned,
            "skin": self._part(lambda: self._skin(prim, root)) if skinned else None,
        }

    def _normals(self, mesh: UsdGeom.Mesh) -> Item:
        """The primvar `normals` goes before the attribute (UsdGeomPointBased)."""
        primvar = UsdGeom.PrimvarsAPI(mesh).GetPrimvar("normals")
        if primvar and primvar.HasValue():
            return self._primvar(primvar)
        interpolation = str(mesh.GetNormalsInterpolation())
        return {"name": "normals", "interpolation": interpolation, "values": self._attribute(mesh.GetNormalsAttr())}

    def _primvar(self, primvar: UsdGeom.Primvar) -> Item:
        return {
            "name": str(primvar.GetPrimvarName()),
            "interpolation": str(primvar.GetInterpolation()),
            "values": self._part(lambda: self._flattened(primvar)),
        }

    def _flattened(self, primvar: UsdGeom.Primvar) -> Item:
        values = primvar.ComputeFlattened()
        if values is None and primvar.HasAuthoredValue():
            raise _Fault(f"the indices of {_place(primvar.GetAttr())} do not fit its values")
        return self._array(values, primvar.GetAttr())

    def _blend_shapes(self, prim: Usd.Prim, binding: UsdSkel.BindingAPI) -> Item:
        names = _texts(binding.GetBlendShapesAttr())
        relation = binding.GetBlendShapeTargetsRel()
        targets = relation.GetTargets() if relation else []
        shapes = []
        for target in targets[: len(names)]:
            shape = UsdSkel.BlendShape(self._stage.GetPrimAtPath(target))
            shapes.append(self._blend_shape(shape) if shape else None)
        return {"names": names, "shapes": shapes}

    def _blend_shape(self, shape: UsdSkel.BlendShape) -> Item:
        where = shape.GetPointIndicesAttr()
        return {
            "offsets": self._attribute(shape.GetOffsetsAttr()),
            "normal_offsets": self._attribute(shape.GetNormalOffsetsAttr()),
            "points": self._attribute(where) if where.HasAuthoredValue() else None,
        }

    def _has_influences(self, prim: Usd.Prim, root: UsdSkel.Root) -> bool:
        """Whether joints move a mesh, by its own primvars or by those of a prim above it."""
        if UsdSkel.BindingAPI(prim).GetJointIndicesPrimvar().HasValue():
            return True
        query = self._cache(root).GetSkinningQuery(prim)
        return bool(query and query.HasJointInfluences())

    def _skin(self, prim: Usd.Prim, root: UsdSkel.Root) -> Item:
        binding = UsdSkel.BindingAPI(prim)
        if binding.GetJointIndicesPrimvar().HasValue() and not _inherited(prim, JOINT_WEIGHTS):
            raise _Fault(f"{prim.GetPath()} has joint indices without weights")
        query = self._cache(root).GetSkinningQuery(prim)
        if not query or not query.HasJointInfluences():
            raise _Fault(f"the joint indices and weights of {prim.GetPath()} do not fit each other")
        order, method = query.GetJointOrder(), str(query.GetSkinningMethod())
        if method not in SKINNING_METHODS:
            raise _Fault(f"`{SKINNING_METHOD}` of {prim.GetPath()} is `{method}`, which OpenUSD does not know")
        return {
            "method": SKINNING_METHODS[method],
            "method_stated": _inherited(prim, SKINNING_METHOD),
            "bind": self._matrices([query.GetGeomBindTransform()]),
            "joints": None if order is None else [str(joint) for joint in order],
            "indices": self._flattened(query.GetJointIndicesPrimvar()),
            "weights": self._flattened(query.GetJointWeightsPrimvar()),
            "each": query.GetNumInfluencesPerComponent(),
            "rigid": bool(query.IsRigidlyDeformed()),
        }

    def _cache(self, root: UsdSkel.Root) -> UsdSkel.Cache:
        path = root.GetPrim().GetPath()
        if path not in self._caches:
            self._caches[path] = UsdSkel.Cache()
            self._caches[path].Populate(root, Usd.TraverseInstanceProxies())
        return self._caches[path]

    # ---- skeletons ----------------------------------------------------------------------------------

    def skeleton(self, skeleton: UsdSkel.Skeleton) -> Item:
        return {"path": str(skeleton.GetPath()), "content": self._part(lambda: self._skeleton(skeleton))}

    def _skeleton(self, skeleton: UsdSkel.Skeleton) -> Item:
        joints = _texts(skeleton.GetJointsAttr())
        topology = UsdSkel.Topology(joints)
        valid, reason = topology.Validate()
        if not valid or len(set(joints)) != len(joints):
            raise _Fault(f"the joints of {skeleton.GetPath()} are not in order: {reason or 'one comes twice'}")
        parents = [topology.GetParent(number) for number in range(len(joints))]
        binds = _matrices_of(skeleton.GetBindTransformsAttr())
        rest = _matrices_of(skeleton.GetRestTransformsAttr())
        stated = len(rest) == len(joints)
        if not stated:
            rest = _local(binds, parents, skeleton)
        above = _metres_y_up(self._stage, skeleton)
        roots = [matrix * above if parent < 0 else matrix for matrix, parent in zip(rest, parents, strict=True)]
        return {
            "joints": joints,
            "names": _texts(skeleton.GetJointNamesAttr()) if self._named else [],
            "parents": parents,
            "rest": self._matrices(roots),
            "rest_stated": stated,
            "binds": self._matrices(binds),
            "to_model": self._matrices([above]),
        }

    def motion(self, skeleton: UsdSkel.Skeleton) -> Item | None:
        """The animation bound to a skeleton; None where none is, or it holds no time samples."""
        root = UsdSkel.Root.Find(skeleton.GetPrim())
        query = self._cache(root).GetSkelQuery(skeleton) if root else None
        animation = (query.GetAnimQuery() or None) if query else None
        if animation is None:
            return None
        times = sorted({*animation.GetJointTransformTimeSamples(), *animation.GetBlendShapeWeightTimeSamples()})
        if not times:
            return None
        path, name = str(skeleton.GetPath()), animation.GetPrim().GetName()
        return {"skeleton": path, "name": name, "content": self._part(lambda: self._motion(query, animation, times))}

    def _looked_at(self, query: UsdSkel.SkeletonQuery, animation: UsdSkel.AnimQuery, keys: list[float]) -> list[float]:
        """The time samples and, where something moves between two that are far apart, times in between.

        Values go straight from one sample to the next, which is what a stage does unless its program wants otherwise.
        """
        rate, times = self._stage.GetTimeCodesPerSecond(), []
        for start, end in pairwise(keys):
            parts = parts_between((end - start) / rate)
            if parts > 1 and _pose_at(query, animation, start) == _pose_at(query, animation, end):
                parts = 1
            times += [start + (end - start) * part / parts for part in range(parts)]
        return [*times, keys[-1]]

    def _motion(self, query: UsdSkel.SkeletonQuery, animation: UsdSkel.AnimQuery, keys: list[float]) -> Item:
        """Local transforms of all joints at each time, those of roots in the model's space; rest where not animated.
        And the weights of the blend shapes that the animation names."""
        skeleton, times = query.GetSkeleton(), self._looked_at(query, animation, keys)
        above = _metres_y_up(self._stage, skeleton)
        topology = query.GetTopology()
        roots = [number for number in range(topology.GetNumJoints()) if topology.GetParent(number) < 0]
        parts = []
        for time in times:
            matrices = query.ComputeJointLocalTransforms(time)
            if matrices is None or len(matrices) != topology.GetNumJoints():
                raise _Fault(f"the animation of {skeleton.GetPath()} does not fit its joints")
            for number in roots:
                matrices[number] = matrices[number] * above
            parts.append(memoryview(matrices).tobytes())
        rate = self._stage.GetTimeCodesPerSecond()
        seconds = Vt.DoubleArray([time / rate for time in times])
        shape = (len(times) * topology.GetNumJoints(), 4, 4)
        return {
            "seconds": self._keep("d", (len(times),), memoryview(seconds).tobytes()),
            "transforms": self._keep("d", shape, b"".join(parts)),
            **self._weights(animation, times),
        }

    def _weights(self, animation: UsdSkel.AnimQuery, times: list[float]) -> Item:
        names = [str(name) for name in animation.GetBlendShapeOrder() or ()]
        rows = [animation.ComputeBlendShapeWeights(time) for time in times] if names else []
        if not any(rows):
            names, rows = [], []  # shapes are named, but nothing says how far they are on
        if any(row is None or len(row) != len(names) for row in rows):
            raise _Fault(f"the blend shape weights of {animation.GetPrim().GetPath()} do not fit its `blendShapes`")
        numbers = b"".join(memoryview(row).tobytes() for row in rows)
        return {"shapes": names, "weights": self._keep("f", (len(rows), len(names)), numbers)}

    def _to_metres_y_up(self, placed: UsdGeom.Xformable) -> Item:
        return self._matrices([_metres_y_up(self._stage, placed)])

    # ---- values -------------------------------------------------------------------------------------

    def _part(self, make: Callable[[], Item]) -> Item:
        """What `make` gives, or why it cannot be used."""
        try:
            return make()
        except _Fault as fault:
            return {"fault": str(fault)}
        except Tf.ErrorException:
            return {"fault": "the library for OpenUSD refuses a part of it as damaged"}

    def _attribute(self, attribute: Usd.Attribute) -> Item:
        return self._part(lambda: self._array(attribute.Get(), attribute))

    def _array(self, value: Any, attribute: Usd.Attribute) -> Item:
        if value is None:
            return NOTHING
        try:
            view = memoryview(value)
        except TypeError:
            view = None
        if view is None or view.format not in NUMBERS or not view.shape:
            raise _wrong_type(attribute, value)
        return self._keep(str(view.format), view.shape, view.tobytes())

    def _matrices(self, matrices: list[Gf.Matrix4d]) -> Item:
        return self._keep("d", (len(matrices), 4, 4), b"".join(memoryview(matrix).tobytes() for matrix in matrices))


def _carried(stage: Usd.Stage) -> str | None:
    """What Plica wrote into the root layer's own data, as JSON; None where it wrote nothing there."""
    held = stage.GetRootLayer().customLayerData.get(CARRIED_KEY)
    if not isinstance(held, dict) or held.get("format") != CARRIED_FORMAT:
        return None
    try:
        return json.dumps(held)
    except (TypeError, ValueError):
        return None


def _pose_at(query: UsdSkel.SkeletonQuery, animation: UsdSkel.AnimQuery, time: float) -> tuple[Any, Any]:
    """All that an animation moves, at a time."""
    return query.ComputeJointLocalTransforms(time), animation.ComputeBlendShapeWeights(time)


def _inherited(prim: Usd.Prim, name: str) -> bool:
    """Whether a prim or one above it states an attribute; UsdSkel's bindings reach down to meshes."""
    while prim and not prim.IsPseudoRoot():
        if prim.GetAttribute(name).HasAuthoredValue():
            return True
        prim = prim.GetParent()
    return False


def _metres_y_up(stage: Usd.Stage, placed: UsdGeom.Xformable) -> Gf.Matrix4d:
    """From a prim's own space to the model's: its place in the stage, then units, then the up axis."""
    world = UsdGeom.Xformable(placed).ComputeLocalToWorldTransform(Usd.TimeCode.Default())
    metres = Gf.Matrix4d().SetScale(UsdGeom.GetStageMetersPerUnit(stage))
    turned = Gf.Matrix4d(1.0)
    if UsdGeom.GetStageUpAxis(stage) == UsdGeom.Tokens.z:
        turned.SetRotate(Gf.Rotation(Gf.Vec3d(1, 0, 0), -90.0))
    return world * metres * turned


def _local(binds: list[Gf.Matrix4d], parents: list[int], skeleton: UsdSkel.Skeleton) -> list[Gf.Matrix4d]:
    """Local rest transforms from the bind pose, where the file states no rest pose."""
    if len(binds) != len(parents):
        raise _Fault(f"{skeleton.GetPath()} states neither a rest nor a bind transform for each joint")
    if any(abs(matrix.GetDeterminant()) < 1e-30 for matrix in binds):
        raise _Fault(f"a bind transform of {skeleton.GetPath()} cannot be inverted")
    return [
        matrix if parent < 0 else matrix * binds[parent].GetInverse()
        for matrix, parent in zip(binds, parents, strict=True)
    ]


def _uv_primvars(prim: Usd.Prim) -> list[UsdGeom.Primvar]:
    """The primvars of a mesh that hold two numbers for each place."""
    held = UsdGeom.PrimvarsAPI(prim).GetPrimvarsWithValues()
    return [primvar for primvar in held if str(primvar.GetTypeName()) in TWO_NUMBERS]


def _texts(attribute: Usd.Attribute) -> list[str]:
    value = attribute.Get() if attribute else None
    if value is not None and not isinstance(value, Vt.TokenArray | Vt.StringArray):
        raise _wrong_type(attribute, value)
    return [str(item) for item in value or ()]


def _matrices_of(attribute: Usd.Attribute) -> list[Gf.Matrix4d]:
    value = attribute.Get() if attribute else None
    if value is not None and not isinstance(value, Vt.Matrix4dArray):
        raise _wrong_type(attribute, value)
    return list(value or ())


def _wrong_type(attribute: Usd.Attribute, value: object) -> _Fault:
    """A file can give an attribute of a schema any type; the attribute itself then still states the schema's."""
    return _Fault(
        f"{_place(attribute)} holds what is no {attribute.GetTypeName()} (it is read as {type(value).__name__})"
    )


def _place(attribute: Usd.Attribute) -> str:
    return f"`{attribute.GetName()}` of {attribute.GetPrim().GetPath()}"
