"""Texts that ask for a huge amount of work: each is a folder of files, `spec.plica` the one to compile."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

Files = dict[str, str]

HEAD = """plica 1
character bomb {
    skeleton {
        joint root at 0 m, 0 m, 0 m
        joint arm_lf under root at 1 m, 0 m, 0 m
        joint arm_rt under root at -1 m, 0 m, 0 m
    }
    symmetry across x
    left "*_lf"
    right "*_rt"
}
"""
DRIVER = "driver {name} both {{ reads bend of {joint} span 0 deg .. 90 deg }}\n"
BOMBS: dict[str, Callable[[], Files]] = {}


def bomb(make: Callable[[], Files | str]) -> Callable[[], Files | str]:
    """Take a bomb in: a function that gives files, or what stands after the character."""

    def files() -> Files:
        made = make()
        return {"spec.plica": HEAD + made} if isinstance(made, str) else made

    BOMBS[make.__name__] = files
    return make


def written(name: str, folder: Path) -> Path:
    """Write a bomb's files; the spec to compile."""
    for file, text in BOMBS[name]().items():
        (folder / file).write_text(text, "utf-8")
    return folder / "spec.plica"


def _driver(name: str, joint: str = "arm") -> str:
    return DRIVER.format(name=name, joint=joint)


def _nested(count: int, ranges: str, inside: str) -> str:
    return "".join(f"each v{index} in {ranges} {{ " for index in range(count)) + inside + "}" * count + "\n"


# ---- families and libraries ----------------------------------------------------------------------------


@bomb
def empty_rounds() -> str:
    return _nested(3, "1 .. 1000", "")


@bomb
def empty_rounds_deep() -> str:
    return _nested(30, "1 .. 2", "")


@bomb
def rounds_that_override_nothing() -> str:
    return _nested(3, "1 .. 1000", "override driver d { span 0 deg .. 1 deg } ")


@bomb
def rounds_of_a_library() -> Files:
    return {"spec.plica": HEAD + _nested(2, "1 .. 1000", 'use "empty.plica" '), "empty.plica": "plica 1\n"}


@bomb
def libraries_that_double() -> Files:
    files = {"spec.plica": HEAD + 'use "part0.plica"\n', "part30.plica": "plica 1\n"}
    for index in range(30):
        use = f'use "part{index + 1}.plica" as {{name}}\n'
        files[f"part{index}.plica"] = "plica 1\n" + use.format(name="a") + use.format(name="b")
    return files


@bomb
def values_that_double() -> str:
    first = "parameter p0 = a, b\n"
    return first + "".join(f"parameter p{index + 1} = p{index}, p{index}\n" for index in range(40))


@bomb
def arguments_that_double() -> Files:
    files = {"spec.plica": HEAD + 'use "part0.plica" with { p = a, b }\n', "part30.plica": "plica 1\nparameter p\n"}
    for index in range(30):
        files[f"part{index}.plica"] = f'plica 1\nparameter p\nuse "part{index + 1}.plica" with {{ p = p, p }}\n'
    return files


@bomb
def texts_that_double() -> str:
    first = 'parameter t0 = "xxxxxxxxxx"\n'
    grown = "".join(f'parameter t{index + 1} = "{{t{index}}}{{t{index}}}"\n' for index in range(40))
    return first + grown + _driver("a").replace("}", 'note "{t40}" }')


@bomb
def names_that_double() -> str:
    first = "parameter t0 = xxxxxxxxxx\n"
    return first + "".join(f"parameter t{n + 1} = {{t{n}}}{{t{n}}}\n" for n in range(40)) + _driver("{t40}")


@bomb
def texts_that_grow_in_rounds() -> str:
    long = 'parameter t = "' + "x" * 100_000 + '"\n'
    return long + _nested(2, "1 .. 400", _driver("d{v0}_{v1}").replace("}}", "}").replace("deg }", 'deg note "{t}" }'))


@bomb
def prefixes_that_double() -> Files:
    files = {"spec.plica": HEAD + 'use "part0.plica" as a with { p = xxxxxxxxxx }\n'}
    for index in range(30):
        files[f"part{index}.plica"] = (
            f'plica 1\nparameter p\nuse "part{index + 1}.plica" as {{p}} with {{ p = {{p}}{{p}} }}\n'
        )
    files["part30.plica"] = "plica 1\nparameter p\n" + _driver("{p}")
    return files


@bomb
def long_prefix_in_rounds() -> Files:
    long = "x" * 1_000_000
    rounds = _nested(2, "1 .. 300", _driver("d{v0}_{v1}"))
    return {"spec.plica": HEAD + f'use "part.plica" as {long}\n', "part.plica": "plica 1\n" + rounds}


@bomb
def many_parameters_in_rounds() -> str:
    parameters = "".join(f"parameter p{index} = a\n" for index in range(4_000))
    return parameters + _nested(2, "1 .. 400", _driver("d{v0}_{v1}"))


@bomb
def many_parameters_of_a_library() -> Files:
    parameters = "".join(f"parameter p{index} = a\n" for index in range(4_000))
    use = _nested(1, "1 .. 1000", 'use "part.plica" as u{v0} ')
    return {"spec.plica": HEAD + use, "part.plica": "plica 1\n" + parameters}


@bomb
def values_of_values() -> str:
    thousand = "parameter a = 1 .. 1000\nparameter b = " + ", ".join(["a"] * 1000) + "\n"
    return thousand + "parameter c = " + ", ".join(["b"] * 1000) + "\neach v in c { }\n"


@bomb
def a_large_declaration_in_rounds() -> str:
    notes = 'note "x" ' * 5000
    return _nested(2, "1 .. 400", f"region r{{v0}}_{{v1}} {{ skin of root {notes}}} ")


@bomb
def a_long_list_in_rounds() -> str:
    joints = ", ".join(["root"] * 20_000)
    return _nested(2, "1 .. 400", f"region r{{v0}}_{{v1}} {{ skin of {joints} }} ")


@bomb
def everything_below_in_rounds() -> Files:
    joints = "".join(f"joint j{index} under root at 0 m, 0 m, 0 m\n" for index in range(2000))
    head = HEAD.replace("    }\n    symmetry", joints + "    }\n    symmetry")
    rounds = _nested(2, "1 .. 200", "region r{v0}_{v1} { skin of root and below } ")
    return {"spec.plica": head + rounds}


# ---- findings ------------------------------------------------------------------------------------------


@bomb
def mistakes_in_rounds() -> str:
    return _nested(2, "1 .. 447", _driver("d{v0}_{v1}", "nope"))


@bomb
def unused_names_in_rounds() -> str:
    return _nested(2, "1 .. 300", "region r{v0}_{v1} both { skin of arm } ")


@bomb
def unknown_joints() -> str:
    return "".join(_driver(f"driver_{index}", f"armm{index}") for index in range(3_000))


@bomb
def unknown_names() -> str:
    drivers = "".join(_driver(f"driver_{index}") for index in range(2_000))
    return drivers + "".join(f"combine c{index} both = product(driver_{index}x)\n" for index in range(4_000))


@bomb
def unknown_names_in_one_declaration() -> str:
    drivers = "".join(_driver(f"driver_{index}") for index in range(2_000))
    parts = ", ".join(f"driver_{index}x" for index in range(10_000))
    return drivers + f"combine all both = product({parts})\n"


@bomb
def repeated_values() -> str:
    return "each v in " + ", ".join(["a"] * 100_000) + " { }\n"


@bomb
def repeated_names() -> str:
    return _driver("a") * 4_000


@bomb
def repeated_expectations() -> str:
    return "region r both { skin of arm }\n" + "expect both { volume of r within 4 % }\n" * 3_000


@bomb
def acceptances() -> str:
    accepting = 'accept unused-name because "x"'
    return "".join(f"region r{index} both {{ skin of arm\n{accepting} }}\n" for index in range(2_000))


@bomb
def overrides() -> str:
    overriding = "".join(f"override driver d{index} left {{ span 0 deg .. 1 deg }}\n" for index in range(2_000))
    return "".join(_driver(f"d{index}") for index in range(2_000)) + overriding


@bomb
def overrides_of_nothing() -> str:
    overriding = "".join(f"override driver x{index} left {{ span 0 deg .. 1 deg }}\n" for index in range(2_000))
    return "".join(_driver(f"d{index}") for index in range(2_000)) + overriding


@bomb
def overrides_of_one() -> str:
    return "region r both { skin of arm }\n" + 'override region r left { note "x" }\n' * 3_000


# ---- chains --------------------------------------------------------------------------------------------


def _backwards(count: int, first: str, link: str) -> str:
    return "".join(link.format(name=f"n{index}", of=f"n{index - 1}") for index in range(count, 0, -1)) + first


@bomb
def chain_of_combines() -> str:
    return _driver("n0") + _backwards(4000, "", "combine {name} both = product({of})\n")


@bomb
def chain_of_regions() -> str:
    link = "region {name} both {{ union of {of}, {of} }}\n"
    return _backwards(4000, "region n0 both { skin of arm }\n", link)


@bomb
def chain_of_shapes() -> Files:
    link = 'shape {name} both {{ sculpt "a.npz" after {of} follows d }}\n'
    start = 'shape n0 both { sculpt "a.npz" follows d }\n'
    return {"spec.plica": HEAD + _driver("d") + _backwards(4000, start, link), "a.npz": ""}


@bomb
def chain_of_joints() -> Files:
    link = "joint {name} under {of} at 0 m, 0 m, 0 m\n"
    joints = _backwards(4000, "joint n0 under root at 0 m, 0 m, 0 m\n", link)
    head = HEAD.replace("    }\n    symmetry", joints + "    }\n    symmetry")
    regions = "".join(f"region r{index} {{ skin of n{index} and below }}\n" for index in range(4000))
    return {"spec.plica": head + regions}


@bomb
def circle_of_combines() -> str:
    return _backwards(4000, "combine n0 both = product(n4000)\n", "combine {name} both = product({of})\n")


@bomb
def dense_regions() -> str:
    return "region n0 both { skin of arm }\n" + "".join(
        f"region n{index} both {{ union of {', '.join(f'n{part}' for part in range(index))}, n0 }}\n"
        for index in range(1, 400)
    )


# ---- long texts ----------------------------------------------------------------------------------------

MILLION = 1_000_000


@bomb
def a_note_of_20_million() -> str:
    return _driver("a").replace(" }", ' note "' + "x" * 20 * MILLION + '" }')


@bomb
def a_note_of_7_million() -> str:
    return _driver("a").replace(" }", ' note "' + "x" * 7 * MILLION + '" }')


@bomb
def a_note_of_escapes() -> str:
    return _driver("a").replace(" }", ' note "' + "\\n" * 3 * MILLION + '" }')


@bomb
def an_unclosed_note() -> str:
    return _driver("a").replace(" }", ' note "' + "x" * 7 * MILLION)


@bomb
def unclosed_notes() -> str:
    return 'region r both { note "x\n' * 200_000


@bomb
def comments() -> str:
    return "// x\n" * MILLION + _driver("a")


@bomb
def comments_before_the_version() -> Files:
    return {"spec.plica": "// x\n" * MILLION + HEAD}


@bomb
def only_comments() -> Files:
    return {"spec.plica": "// x\n" * MILLION}


@bomb
def blank_lines() -> str:
    return "\n" * 7 * MILLION + _driver("a")


@bomb
def blanks_before_the_version() -> Files:
    return {"spec.plica": " \t" * 3 * MILLION}


@bomb
def blanks_in_a_line() -> str:
    return _driver("a") + " " * 7 * MILLION + "x"


@bomb
def a_long_name() -> str:
    return "".join(f"combine c{index} = {'x' * MILLION}{index}\n" for index in range(5))


@bomb
def a_long_number() -> str:
    return "control a { range 0 .. " + "9" * 2 * MILLION + " }\n"


@bomb
def a_long_exponent() -> str:
    return "control a { range 0 .. 1e" + "9" * 2 * MILLION + " }\n"


@bomb
def a_long_count() -> str:
    return "each v in 1 .. " + "9" * 300 + " { }\neach w in " + "1" * 300 + " .. " + "1" * 299 + "2 { }\n"


@bomb
def a_long_version() -> Files:
    return {"spec.plica": "plica " + "9" * 4 * MILLION}


@bomb
def parentheses() -> str:
    return "combine c = " + "product(" * 100_000 + "a" + ")" * 100_000 + "\n"


@bomb
def parentheses_within_the_depth() -> str:
    return "".join("combine c = " + "product(" * 50 + "a" + ")" * 50 + "\n" for _ in range(5000))


@bomb
def braces() -> str:
    return "{" * MILLION


@bomb
def closing_braces() -> str:
    return "}" * MILLION


@bomb
def unclosed_eaches() -> str:
    return "each a in 1 .. 2 {\n" * 55 + "each b in c\n" * 50_000


@bomb
def unclosed_blocks() -> str:
    return "driver a both { reads bend of arm\n" * 50_000


@bomb
def one_line() -> str:
    return "".join(_driver(f"d{index}").replace("\n", " ") for index in range(10_000))


@bomb
def one_line_of_mistakes() -> str:
    return "".join(_driver(f"d{index}", "nope").replace("\n", " ") for index in range(10_000))


@bomb
def one_line_of_wrong_words() -> str:
    return "".join(_driver(f"d{index}").replace("bend", "bent").replace("\n", " ") for index in range(20_000))


@bomb
def wrong_lines_in_one_block() -> str:
    return "driver a both {\n" + "bent of arm\n" * 300_000 + "}\n"


@bomb
def a_long_list_of_values() -> str:
    return "parameter p = " + ", ".join(["a"] * MILLION) + "\n"


@bomb
def a_long_list_of_points() -> str:
    return "curve c = " + ", ".join(f"{index / 100_000} 0" for index in range(100_001)) + "\n"


@bomb
def many_samples() -> str:
    samples = "".join(f"sample s{index} at about x {index / 100} deg\n" for index in range(1, 3000))
    return f"field f both {{ reads rotation of arm\n{samples}}}\n"


@bomb
def many_placeholders() -> str:
    return _driver("a").replace(" }", ' note "' + "{x}" * MILLION + '" }')


@bomb
def many_unknown_placeholders() -> str:
    return _driver("{x}" * MILLION)


@bomb
def many_declarations() -> str:
    return "".join(_driver(f"d{index}") for index in range(60_000))


@bomb
def a_pattern_of_stars() -> Files:
    return {"spec.plica": HEAD.replace('"*_lf"', '"' + "*a" * 5000 + '"')}


@bomb
def a_long_names_pattern() -> Files:
    long = 'names "' + "{name}" * 1000 + '{side}"\n    left'
    head = HEAD.replace("left", long, 1)
    return {"spec.plica": head + _nested(2, "1 .. 300", _driver("d{v0}_{v1}"))}


@bomb
def comments_after_a_long_line() -> str:
    facts = 'note "x" // c\n' * 20_000
    return f'region r {{\nskin of root\nnote "{"x" * 100_000}" // c\n{facts}}}\n'


@bomb
def columns_after_a_long_name() -> Files:
    joint = "joint {name} at 0 m, 0 m, 0 m // c\n"
    joints = joint.format(name='"' + "x" * 100_000 + '"') + "".join(joint.format(name=f"j{n}") for n in range(20_000))
    return {"spec.plica": HEAD.replace("    }\n    symmetry", joints + "    }\n    symmetry")}
