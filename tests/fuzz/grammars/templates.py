"""Templates that mostly have the right form."""

from __future__ import annotations

from hypothesis import strategies as st

_VALUES = st.sampled_from(
    (
        "rig", "rig.strengths", "rig.skeleton[0].name", "rig.character", "x", "loop.index", "[1, 2]", "'a'", "3",
        "0", "-1",
        "1e308", "9 ** 9", "'a' * 99", "range(9)", "range(99999)", "{}", "none", "true", "rig.nothing",
        "namespace(a=1)", "dict(a=x)",
    )
)  # fmt: skip
_FILTERS = st.sampled_from(
    (
        "degrees", "millimetres", "json", "python_literal", "length", "join", "upper", "center(30)", "indent(4)",
        "list", "first",
        "batch(2)", "tojson", "sort", "map('upper')", "attr('__class__')", "format(1)", "replace('a', 'b')",
        "round(400)", "wordwrap(1)",
        "pprint", "xmlattr", "urlize", "truncate(0)", "groupby('name')", "sum", "int(base=99)", "float",
        "filesizeformat", "default(rig)",
    )
)  # fmt: skip
_EXPRESSIONS = st.recursive(
    _VALUES,
    lambda inner: st.one_of(
        st.tuples(inner, _FILTERS).map(lambda two: f"{two[0]}|{two[1]}"),
        st.tuples(inner, st.sampled_from(("+", "*", "**", "//", "%", "~", "<", "in", "and", "if x else")), inner).map(
            " ".join
        ),
        inner.map(lambda one: f"({one})"),
        inner.map(lambda one: f"{one}[0]"),
        inner.map(lambda one: f"{one}.name"),
    ),
    max_leaves=6,
)
_PIECES = st.recursive(
    st.one_of(
        st.sampled_from(
            ("text\n", " ", "{# said #}", "{% include 'other.jinja' %}", "{% break %}", "{{ m(1) }}", "{{ super() }}")
        ),
        _EXPRESSIONS.map(lambda one: f"{{{{ {one} }}}}"),
        _EXPRESSIONS.map(lambda one: f"{{% set x = {one} %}}"),
    ),
    lambda inner: st.one_of(
        st.tuples(_EXPRESSIONS, inner).map(lambda two: f"{{% for x in {two[0]} %}}{two[1]}{{% endfor %}}"),
        st.tuples(_EXPRESSIONS, inner, inner).map(
            lambda all: f"{{% if {all[0]} %}}{all[1]}{{% else %}}{all[2]}{{% endif %}}"
        ),
        inner.map(lambda one: f"{{% macro m(x) %}}{one}{{% endmacro %}}"),
        inner.map(lambda one: f"{{% filter upper %}}{one}{{% endfilter %}}"),
        st.lists(inner, max_size=4).map("".join),
    ),
    max_leaves=8,
)


def templates() -> st.SearchStrategy[bytes]:
    """Templates that mostly have the right form."""
    return _PIECES.map(lambda text: text.encode())
