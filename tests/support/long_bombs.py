"""Texts that are huge themselves."""

from __future__ import annotations

from tests.support.bomb_texts import HEAD, Files, bomb, driver, nested

MILLION = 1_000_000


@bomb
def a_note_of_20_million() -> str:
    return driver("a").replace(" }", ' note "' + "x" * 20 * MILLION + '" }')


@bomb
def a_note_of_7_million() -> str:
    return driver("a").replace(" }", ' note "' + "x" * 7 * MILLION + '" }')


@bomb
def a_note_of_escapes() -> str:
    return driver("a").replace(" }", ' note "' + "\\n" * 3 * MILLION + '" }')


@bomb
def an_unclosed_note() -> str:
    return driver("a").replace(" }", ' note "' + "x" * 7 * MILLION)


@bomb
def unclosed_notes() -> str:
    return 'region r both { note "x\n' * 200_000


@bomb
def comments() -> str:
    return "// x\n" * MILLION + driver("a")


@bomb
def comments_before_the_version() -> Files:
    return {"spec.plica": "// x\n" * MILLION + HEAD}


@bomb
def only_comments() -> Files:
    return {"spec.plica": "// x\n" * MILLION}


@bomb
def blank_lines() -> str:
    return "\n" * 7 * MILLION + driver("a")


@bomb
def blanks_before_the_version() -> Files:
    return {"spec.plica": " \t" * 3 * MILLION}


@bomb
def blanks_in_a_line() -> str:
    return driver("a") + " " * 7 * MILLION + "x"


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
    return "".join(driver(f"d{index}").replace("\n", " ") for index in range(10_000))


@bomb
def one_line_of_mistakes() -> str:
    return "".join(driver(f"d{index}", "nope").replace("\n", " ") for index in range(10_000))


@bomb
def one_line_of_wrong_words() -> str:
    return "".join(driver(f"d{index}").replace("bend", "bent").replace("\n", " ") for index in range(20_000))


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
    return driver("a").replace(" }", ' note "' + "{x}" * MILLION + '" }')


@bomb
def many_unknown_placeholders() -> str:
    return driver("{x}" * MILLION)


@bomb
def many_declarations() -> str:
    return "".join(driver(f"d{index}") for index in range(60_000))


@bomb
def a_pattern_of_stars() -> Files:
    return {"spec.plica": HEAD.replace('"*_lf"', '"' + "*a" * 5000 + '"')}


@bomb
def a_long_names_pattern() -> Files:
    long = 'names "' + "{name}" * 1000 + '{side}"\n    left'
    head = HEAD.replace("left", long, 1)
    return {"spec.plica": head + nested(2, "1 .. 300", driver("d{v0}_{v1}"))}


@bomb
def comments_after_a_long_line() -> str:
    facts = 'note "x" // c\n' * 20_000
    return f'region r {{\nskin of root\nnote "{"x" * 100_000}" // c\n{facts}}}\n'


@bomb
def columns_after_a_long_name() -> Files:
    joint = "joint {name} at 0 m, 0 m, 0 m // c\n"
    joints = joint.format(name='"' + "x" * 100_000 + '"') + "".join(joint.format(name=f"j{n}") for n in range(20_000))
    return {"spec.plica": HEAD.replace("    }\n    symmetry", joints + "    }\n    symmetry")}
