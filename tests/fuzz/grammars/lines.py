"""Formats that are lines of words: OBJ, BVH, TOML and OpenUSD's text form."""

from __future__ import annotations

from hypothesis import strategies as st

from tests.fuzz.stages import SMALL_STAGE


def _lines(kinds: dict[str, st.SearchStrategy[str]], most: int) -> st.SearchStrategy[str]:
    return st.lists(st.sampled_from(sorted(kinds)).flatmap(lambda kind: kinds[kind]), max_size=most).map("\n".join)


_NUMBER = st.sampled_from(("0", "1", "-1", "0.5", "1e12", "-1e300", "1e400", "nan", "90", "\u0664", "1_0", "x"))
_FEW = st.lists(_NUMBER, max_size=5).map(" ".join)


def wavefront() -> st.SearchStrategy[bytes]:
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
    lines += [
        "MOTION",
        f"Frames: {frames}",
        f"Frame Time: {draw(st.sampled_from(('0.04', '0', '-1', '1e9', 'nan', '1e-5')))}",
    ]
    numbers = st.sampled_from(("0", "90", "-720", "1e11", "1e-320", "1e51"))
    for _ in range(min(frames, 3)):
        lines.append(" ".join(draw(st.lists(numbers, min_size=width, max_size=width))))
    return ("\n".join(lines) + "\n").encode()


def motion_capture() -> st.SearchStrategy[bytes]:
    """BVH files."""
    return _motion()


def acceptances() -> st.SearchStrategy[bytes]:
    """TOML of accepted changes."""
    key = st.sampled_from(("3f2a9c0d11e2b3c4", "'x'", "a.b", '""', "3F2A9C0D11E2B3C4", "\u0664"))
    value = st.sampled_from(
        ('"agreed"', "''", "1", "[1, 2]", "{ a = 1 }", '"""a\nb"""', '"\\u001b[31m"', "1e400", "nan", "12:00:00")
    )
    kinds = {
        "pair": st.tuples(key, value).map(" = ".join),
        "table": key.map(lambda name: f"[{name}]"),
        "tables": key.map(lambda name: f"[[{name}]]"),
    }
    return _lines(kinds, 8).map(lambda text: text.encode())


def usd() -> st.SearchStrategy[bytes]:
    """OpenUSD text: the small stage with attributes put in, of any type."""
    kind = st.sampled_from(
        ("int", "float", "point3f", "matrix4d", "token", "string", "quatf", "half3", "bool", "asset", "texCoord2f")
    )
    name = st.sampled_from(
        (
            "points", "faceVertexCounts", "faceVertexIndices", "normals", "primvars:st",
            "primvars:skel:jointIndices", "joints",
            "primvars:skel:jointWeights", "restTransforms", "bindTransforms", "primvars:skel:geomBindTransform",
            "skel:joints",
        )
    )  # fmt: skip
    value = st.sampled_from(
        ("[]", "[0]", "[0, 0, 0]", "[(0, 0, 0)]", "[(1e300, 0, 0)]", '["a", "a/b"]', "[-1, 9]", "None", "1", "[nan]")
    )
    about = st.sampled_from(
        ("", " (elementSize = 2)", ' (interpolation = "constant")', ' (interpolation = "faceVarying"; elementSize = 0)')
    )
    line = st.tuples(kind, st.sampled_from(("[]", "")), name, value, about).map(
        lambda all: f"{all[0]}{all[1]} {all[2]} = {all[3]}{all[4]}"
    )
    return st.tuples(st.lists(line, max_size=2), st.lists(line, max_size=2)).map(
        lambda two: SMALL_STAGE.replace("# bones", "\n".join(two[0])).replace("# skin", "\n".join(two[1])).encode()
    )
