"""Access to the catalogue of diagnostics, `catalogue.toml`, the one place that knows their texts."""

from __future__ import annotations

from functools import cache

from plica.named_tuples import NamedTuple
from plica.package_data import content


class Rule(NamedTuple):
    """One entry: `message` and `hint` hold `{placeholders}` that the place of use fills.

    `gathered`: the message of all findings of this rule in one, with `{count}` and `{names}`; "" where each stands by
    itself. `once`: the value by which those that are about the same are one finding, the first; "" for none.
    """

    name: str
    code: str
    severity: str
    message: str
    hint: str
    explanation: str
    example: str
    corrected: str
    gathered: str = ""
    once: str = ""

    @property
    def summary(self) -> str:
        """The first sentence of the explanation."""
        text = " ".join(self.explanation.split())
        return text.split(". ", 1)[0].rstrip(".") + "."

    @property
    def help_text(self) -> str:
        """The explanation with the example and its correction, as plain text."""
        parts = [self.explanation]
        if self.example:
            parts += ["This text causes it:", _indented(self.example)]
        if self.corrected:
            parts += ["And this is right:", _indented(self.corrected)]
        return "\n\n".join(parts)


def _indented(text: str) -> str:
    return "\n".join(f"    {line}".rstrip() for line in text.split("\n"))


def _rule(name: str, entry: dict[str, str]) -> Rule:
    return Rule(
        name=name,
        code=entry["code"],
        severity=entry["severity"],
        message=entry["message"],
        hint=entry.get("hint", ""),
        explanation=entry["explanation"].strip(),
        example=entry.get("example", "").strip(),
        corrected=entry.get("corrected", "").strip(),
        gathered=entry.get("gathered", ""),
        once=entry.get("once", ""),
    )


@cache
def _text() -> str:
    from plica import diagnostics

    data = content(diagnostics, "catalogue.toml")
    assert data is not None, "the package holds its catalogue"
    return data.decode("utf-8")


@cache
def rules() -> dict[str, Rule]:
    """All rules by kebab name, in the catalogue's order."""
    import tomllib

    return {name: _rule(name, entry) for name, entry in tomllib.loads(_text()).items()}


@cache
def rule(name: str) -> Rule:
    """The rule of a kebab name. Raises KeyError where there is none.

    Only its own table is parsed: reading the whole catalogue takes longer than checking a small spec.
    """
    import tomllib

    text = _text()
    start = text.find(f"\n[{name}]\n")
    if start < 0:
        raise KeyError(name)
    end = text.find("\n[", start + 1)
    return _rule(name, tomllib.loads(text[start : end if end >= 0 else None])[name])


def find_rule(text: str) -> Rule | None:
    """The rule that a user means by a code or a kebab name, in any case."""
    wanted = text.strip().casefold()
    for entry in rules().values():
        if wanted in (entry.code.casefold(), entry.name):
            return entry
    return None
