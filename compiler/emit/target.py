"""What a target is: a frozen dataclass whose fields are its options, with a pure `emit`."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import Field, dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple, Self

from plica.diagnostics import Diagnostics
from plica.diagnostics.suggest import did_you_mean
from plica.emit.build import Build

if TYPE_CHECKING:
    from plica.texture.mask_set import MaskOptions

# Options as they are written on a command line: each name with the texts given for it, in order.
Options = Mapping[str, Sequence[str]]

_TRUE = frozenset({"yes", "true", "on", "1"})
_FALSE = frozenset({"no", "false", "off", "0"})


class OptionHelp(NamedTuple):
    """An option of a target, for `--help` and documents; `default` is as one would write it."""

    name: str
    help: str
    default: str


def option(default: Any, help_text: str, *, names_files: bool = False) -> Any:
    """A field of a target that users can set: text, a number, yes or no, or a list of texts (its type tells).

    names_files: whether its texts are paths of files to read. In a `plica.toml` these stay inside the project.
    """
    return field(default=default, metadata={"help": help_text, "names_files": names_files})


@dataclass(frozen=True)
class Target(ABC):
    """An output form.

    Subclasses are frozen dataclasses. Class variables say what the target is; dataclass fields made with `option` are
    its options. `supports` lists features of `plica.emit.features` one by one; what a Rig uses beyond them is
    refused before `emit`, so that a kind that Plica learns later is refused until the target says that it can do it.
    """

    name: ClassVar[str]
    description: ClassVar[str]
    supports: ClassVar[frozenset[str]]

    @abstractmethod
    def emit(self, build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
        """The files, by path relative to the output folder (forward slashes).

        Pure: writes nothing, and gives the same bytes for the same Build. Mistakes that are the user's are added to
        `found`; what takes long says what it does with `build.step`.
        """

    def masks(self) -> MaskOptions | None:
        """How the masks are made that this target writes; None for a target that writes none.

        Other targets of the same build name them (`plica.emit.masks.with_places`).
        """
        return None

    @classmethod
    def options(cls) -> tuple[OptionHelp, ...]:
        """The options, in order."""
        return tuple(
            OptionHelp(entry.name.replace("_", "-"), entry.metadata["help"], _written(entry.default))
            for entry in _option_fields(cls)
        )

    @classmethod
    def names_files(cls, name: str) -> bool:
        """Whether an option's texts are paths of files to read."""
        written = name.replace("-", "_")
        return any(entry.metadata.get("names_files", False) for entry in _option_fields(cls) if entry.name == written)

    def configured(self, options: Options, diagnostics: Diagnostics) -> Self | None:
        """The target with options set from text; None, with diagnostics, where one is unknown or does not fit."""
        known = {entry.name.replace("_", "-"): entry for entry in _option_fields(type(self))}
        values: dict[str, Any] = {}
        failed = False
        for name, texts in options.items():
            entry = known.get(name)
            if entry is None:
                hint = did_you_mean(name, known) or _list_of(known)
                diagnostics.add("unknown-target-option", None, hint=hint, target=self.name, option=name)
                failed = True
                continue
            try:
                values[entry.name] = _parsed(entry.default, texts)
            except ValueError as error:
                diagnostics.add("bad-target-option", None, target=self.name, option=name, problem=error)
                failed = True
        return None if failed else replace(self, **values)


def _option_fields(cls: type[Target]) -> Iterator[Field[Any]]:
    return (entry for entry in fields(cls) if "help" in entry.metadata)


def _list_of(known: Mapping[str, object]) -> str:
    return "its options are " + ", ".join(f"`{name}`" for name in known) if known else "it has no options"


def _written(default: object) -> str:
    if isinstance(default, bool):
        return "yes" if default else "no"
    if isinstance(default, tuple):
        return ", ".join(default)
    return str(default)


def _parsed(default: object, texts: Sequence[str]) -> object:
    """The value of an option, of the type of its default. Raises ValueError, in plain words, where no text fits it."""
    if isinstance(default, tuple):
        return tuple(texts)
    if len(texts) != 1:
        raise ValueError("it must be given once")
    text = texts[0]
    if isinstance(default, bool):
        if text.casefold() not in _TRUE | _FALSE:
            raise ValueError("it must be yes or no")
        return text.casefold() in _TRUE
    if isinstance(default, int | float):
        try:
            return type(default)(text)
        except ValueError:
            raise ValueError("it must be a number") from None
    return text
