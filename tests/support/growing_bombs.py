"""Texts whose families, libraries, findings or chains ask for a huge amount of work."""

from __future__ import annotations

from tests.support.bomb_texts import HEAD, Files, bomb, driver, nested

# ---- families and libraries ----------------------------------------------------------------------------


@bomb
def empty_rounds() -> str:
    return nested(3, "1 .. 1000", "")


@bomb
def empty_rounds_deep() -> str:
    return nested(30, "1 .. 2", "")


@bomb
def rounds_that_override_nothing() -> str:
    return nested(3, "1 .. 1000", "override driver d { span 0 deg .. 1 deg } ")


@bomb
def rounds_of_a_library() -> Files:
    return {"spec.plica": HEAD + nested(2, "1 .. 1000", 'use "empty.plica" '), "empty.plica": "plica 1\n"}


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
    return first + grown + driver("a").replace("}", 'note "{t40}" }')


@bomb
def names_that_double() -> str:
    first = "parameter t0 = xxxxxxxxxx\n"
    return first + "".join(f"parameter t{n + 1} = {{t{n}}}{{t{n}}}\n" for n in range(40)) + driver("{t40}")


@bomb
def texts_that_grow_in_rounds() -> str:
    long = 'parameter t = "' + "x" * 100_000 + '"\n'
    return long + nested(2, "1 .. 400", driver("d{v0}_{v1}").replace("}}", "}").replace("deg }", 'deg note "{t}" }'))


@bomb
def prefixes_that_double() -> Files:
    files = {"spec.plica": HEAD + 'use "part0.plica" as a with { p = xxxxxxxxxx }\n'}
    for index in range(30):
        files[f"part{index}.plica"] = (
            f'plica 1\nparameter p\nuse "part{index + 1}.plica" as {{p}} with {{ p = {{p}}{{p}} }}\n'
        )
    files["part30.plica"] = "plica 1\nparameter p\n" + driver("{p}")
    return files


@bomb
def long_prefix_in_rounds() -> Files:
    long = "x" * 1_000_000
    rounds = nested(2, "1 .. 300", driver("d{v0}_{v1}"))
    return {"spec.plica": HEAD + f'use "part.plica" as {long}\n', "part.plica": "plica 1\n" + rounds}


@bomb
def many_parameters_in_rounds() -> str:
    parameters = "".join(f"parameter p{index} = a\n" for index in range(4_000))
    return parameters + nested(2, "1 .. 400", driver("d{v0}_{v1}"))


@bomb
def many_parameters_of_a_library() -> Files:
    parameters = "".join(f"parameter p{index} = a\n" for index in range(4_000))
    use = nested(1, "1 .. 1000", 'use "part.plica" as u{v0} ')
    return {"spec.plica": HEAD + use, "part.plica": "plica 1\n" + parameters}


@bomb
def values_of_values() -> str:
    thousand = "parameter a = 1 .. 1000\nparameter b = " + ", ".join(["a"] * 1000) + "\n"
    return thousand + "parameter c = " + ", ".join(["b"] * 1000) + "\neach v in c { }\n"


@bomb
def a_large_declaration_in_rounds() -> str:
    notes = 'note "x" ' * 5000
    return nested(2, "1 .. 400", f"region r{{v0}}_{{v1}} {{ skin of root {notes}}} ")


@bomb
def a_long_list_in_rounds() -> str:
    joints = ", ".join(["root"] * 20_000)
    return nested(2, "1 .. 400", f"region r{{v0}}_{{v1}} {{ skin of {joints} }} ")


@bomb
def everything_below_in_rounds() -> Files:
    joints = "".join(f"joint j{index} under root at 0 m, 0 m, 0 m\n" for index in range(2000))
    head = HEAD.replace("    }\n    symmetry", joints + "    }\n    symmetry")
    rounds = nested(2, "1 .. 200", "region r{v0}_{v1} { skin of root and below } ")
    return {"spec.plica": head + rounds}


# ---- findings ------------------------------------------------------------------------------------------


@bomb
def mistakes_in_rounds() -> str:
    return nested(2, "1 .. 447", driver("d{v0}_{v1}", "nope"))


@bomb
def unused_names_in_rounds() -> str:
    return nested(2, "1 .. 300", "region r{v0}_{v1} both { skin of arm } ")


@bomb
def unknown_joints() -> str:
    return "".join(driver(f"driver_{index}", f"armm{index}") for index in range(3_000))


@bomb
def unknown_names() -> str:
    drivers = "".join(driver(f"driver_{index}") for index in range(2_000))
    return drivers + "".join(f"combine c{index} both = product(driver_{index}x)\n" for index in range(4_000))


@bomb
def unknown_names_in_one_declaration() -> str:
    drivers = "".join(driver(f"driver_{index}") for index in range(2_000))
    parts = ", ".join(f"driver_{index}x" for index in range(10_000))
    return drivers + f"combine all both = product({parts})\n"


@bomb
def repeated_values() -> str:
    return "each v in " + ", ".join(["a"] * 100_000) + " { }\n"


@bomb
def repeated_names() -> str:
    return driver("a") * 4_000


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
    return "".join(driver(f"d{index}") for index in range(2_000)) + overriding


@bomb
def overrides_of_nothing() -> str:
    overriding = "".join(f"override driver x{index} left {{ span 0 deg .. 1 deg }}\n" for index in range(2_000))
    return "".join(driver(f"d{index}") for index in range(2_000)) + overriding


@bomb
def overrides_of_one() -> str:
    return "region r both { skin of arm }\n" + 'override region r left { note "x" }\n' * 3_000


# ---- chains --------------------------------------------------------------------------------------------


def _backwards(count: int, first: str, link: str) -> str:
    return "".join(link.format(name=f"n{index}", of=f"n{index - 1}") for index in range(count, 0, -1)) + first


@bomb
def chain_of_combines() -> str:
    return driver("n0") + _backwards(4000, "", "combine {name} both = product({of})\n")


@bomb
def chain_of_regions() -> str:
    link = "region {name} both {{ union of {of}, {of} }}\n"
    return _backwards(4000, "region n0 both { skin of arm }\n", link)


@bomb
def chain_of_shapes() -> Files:
    link = 'shape {name} both {{ sculpt "a.npz" after {of} follows d }}\n'
    start = 'shape n0 both { sculpt "a.npz" follows d }\n'
    return {"spec.plica": HEAD + driver("d") + _backwards(4000, start, link), "a.npz": ""}


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
