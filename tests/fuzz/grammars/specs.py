"""Specs, by the rules of the grammar itself."""

from __future__ import annotations

from functools import cache

from hypothesis import strategies as st
from lark.grammar import NonTerminal, Symbol

from plica.syntax.keywords import terminal_words
from plica.syntax.parser_tables import parser

DEEPEST = 12  # rules within rules before the shortest way out is taken

_NAMES = "elbow", "wrist", "forearm", "fur", "fist", "a", "spine", "lowerarm", "paw", "upperarm", "head", "{x}", "b_{x}"
_TEXTS = '"wren.glb"', '"patch.png"', '"hold.npz"', '"limb.plica"', '"*_lf"', '"*_rt"', '""', '"{x}"', '"skin"', '"\\""'
_AMOUNTS = (
    "0", "1", "2", "0.5", "90 deg", "-10 deg", "5 mm", "10 %", "2 MiB", "0 m", "1e300 m", "1 turn", "1e-320", "0.35",
    "1 cm",
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
    result: dict[str, list[list[Symbol]]] = {}
    for rule in parser().rules:
        result.setdefault(rule.origin.name, []).append(list(rule.expansion))
    depth: dict[str, int] = {}
    while len(depth) < len(result):
        for name, ways in result.items():
            known = [_depth(way, depth) for way in ways if _depth(way, depth) is not None]
            if known and name not in depth:
                depth[name] = 1 + min(one for one in known if one is not None)
    for ways in result.values():
        ways.sort(key=lambda way: (_depth(way, depth) or 0, len(way)))
    return result


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


def specs() -> st.SearchStrategy[bytes]:
    """Texts by the rules of Plica's grammar, about a character with arms on both sides."""
    return _specs()
