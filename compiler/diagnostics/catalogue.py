"""Access to the catalogue of diagnostics, `catalogue.toml`, the one place that knows their texts."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import NamedTuple


class Rule(NamedTuple):
    """One entry: `message` and `hint` hold `{placeholders}` that the place of use fills."""

    name: str
    code: str
    severity: str
    message: str
    hint: str
    explanation: str
    example: str
    corrected: str

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


@cache
def rules() -> dict[str, Rule]:
    """All rules by kebab name, in the catalogue's order. Read when the first diagnostic is made."""
    import tomllib

    text = files("plica.diagnostics").joinpath("catalogue.toml").read_text("utf-8")
    return {
        name: Rule(
            name=name,
            code=entry["code"],
            severity=entry["severity"],
            message=entry["message"],
            hint=entry.get("hint", ""),
            explanation=entry["explanation"].strip(),
            example=entry.get("example", "").strip(),
            corrected=entry.get("corrected", "").strip(),
        )
        for name, entry in tomllib.loads(text).items()
    }


def rule(name: str) -> Rule:
    """The rule of a kebab name. Raises KeyError where there is none."""
    return rules()[name]


def find_rule(text: str) -> Rule | None:
    """The rule that a user means by a code or a kebab name, in any case."""
    wanted = text.strip().casefold()
    for entry in rules().values():
        if wanted in (entry.code.casefold(), entry.name):
            return entry
    return None
