"""How much one run takes in before it refuses: every bound on sizes and numbers of foreign input, in one place.

A limit is raised by the user, never by a file: with `--limit NAME=VALUE` on the command line, or for every run and the
processes that a run starts with the environment variable `PLICA_LIMITS`, the same pairs with blanks between them.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache

from plica.named_tuples import NamedTuple

VARIABLE = "PLICA_LIMITS"
_SIZES = {"": 1, "KiB": 1024, "MiB": 1024**2, "GiB": 1024**3}


class Limits(NamedTuple):
    """The limits, each a largest number that is still taken; names that end in `bytes` are sizes."""

    spec_bytes: int = 4 * 1024**2  # of one spec or library
    text_bytes: int = 64 * 1024**2  # of one template, acceptance file, baseline or built rig
    model_bytes: int = 8 * 1024**3  # of one file of a model, a sculpt or offsets, and of each file that it refers to
    image_bytes: int = 4 * 1024**3  # of one mask, map, photo or vertex set; 16,384 texels square in 16-bit RGBA take 2
    clip_bytes: int = 2 * 1024**3  # of one clip as text: an hour of 60 joints at 120 frames a second takes about 1
    project_bytes: int = 256 * 1024  # of one plica.toml
    project_entries: int = 200_000  # files and folders that are looked at to find those of a project
    revision_bytes: int = 128 * 1024**2  # of what git lists of one revision: about a million files
    usd_layers: int = 1000  # files and packaged files that an OpenUSD model is composed of
    usd_prims: int = 50_000  # that an OpenUSD model is composed of, those of its references included
    usd_memory_bytes: int = 2 * 1024**3  # that reading an OpenUSD model takes, its files included
    usd_seconds: int = 120  # that reading an OpenUSD model takes
    template_seconds: int = 60  # of a processor, that filling one template takes
    template_memory_bytes: int = 1024**3  # that filling one template takes
    joints: int = 10_000  # of one skeleton
    model_json_bytes: int = 256 * 1024**2  # of one glTF document; binary data in their own files do not count
    unpacked_bytes: int = 128 * 1024**2  # arrays that stand behind a model, clip or archive of any size, however small
    unpacked_times: int = 64  # how many times a larger file's own size they may take
    image_texels: int = 16_384**2  # of one painted mask or normal map
    expansion: int = 100_000  # steps of writing families and libraries out (plica.spec.budget)
    findings: int = 1_000  # of a severity that one run shows; after so many errors it stops looking
    findings_at_a_place: int = 20  # of one rule at one place of a text, which an `each` may find for every value
    name_characters: int = 500  # of a name with its placeholders filled, and of a library's prefix


class LimitError(ValueError):
    """A limit that cannot be set; the message says why, in the user's words."""


_CHOSEN: ContextVar[Limits | None] = ContextVar("limits", default=None)


def in_force() -> Limits:
    """The limits of this run. Raises LimitError where the environment states one that cannot be read."""
    return _CHOSEN.get() or _of_environment(os.environ.get(VARIABLE, ""))


@contextmanager
def using(limits: Limits) -> Iterator[None]:
    """Other limits for as long as the context lasts, in this thread."""
    token = _CHOSEN.set(limits)
    try:
        yield
    finally:
        _CHOSEN.reset(token)


@contextmanager
def stated(pairs: Iterable[str]) -> Iterator[None]:
    """Limits of a whole run, also for the processes that it starts. Raises LimitError."""
    before = os.environ.get(VARIABLE)
    together = " ".join([before or "", *pairs]).strip()
    _of_environment(together)
    os.environ[VARIABLE] = together
    try:
        yield
    finally:
        if before is None:
            del os.environ[VARIABLE]
        else:
            os.environ[VARIABLE] = before


def raised(pairs: Iterable[str], limits: Limits = Limits()) -> Limits:  # noqa: B008 - frozen
    """The limits with pairs such as `text-bytes=128MiB` put in. Raises LimitError."""
    for pair in pairs:
        written, equals, value = pair.partition("=")
        name = written.replace("-", "_")
        if not equals or name not in Limits._fields:
            known = ", ".join(shown(field) for field in Limits._fields)
            raise LimitError(f"`{pair}` sets no limit; write NAME=VALUE with one of {known}")
        limits = limits._replace(**{name: _number(name, value)})
    return limits


def shown(field: str) -> str:
    """A limit's name as users write it."""
    return field.replace("_", "-")


def size(count: int) -> str:
    """A number of bytes in the largest unit that divides it."""
    unit = next((unit for unit in ("GiB", "MiB", "KiB") if count % _SIZES[unit] == 0), "bytes")
    return f"{count // _SIZES.get(unit, 1)} {unit}"


@cache
def _of_environment(stated: str) -> Limits:
    return raised(stated.split())


def _number(name: str, written: str) -> int:
    units = _SIZES if name.endswith("bytes") else {"": 1}
    digits = written.rstrip("BGKMi")
    factor = units.get(written[len(digits) :])
    if factor is None or not (digits.isascii() and digits.isdigit() and 0 < len(digits) < 16) or int(digits) == 0:
        wanted = "a size such as 512MiB" if name.endswith("bytes") else "a whole number above 0"
        raise LimitError(f"`{written}` is no value for the limit {shown(name)}; write {wanted}")
    return int(digits) * factor
