"""The id of a build: a digest of all that its files are made of.

Every file of one build carries the same id, so that files of two builds that got beside each other, because a build
was killed or files were copied, are seen by whoever reads them. The id depends on no time, path or machine, and not on
which targets are built: targets of one state built one after the other belong together, and have one id.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Final

from plica import __version__
from plica.rig.files import files_of
from plica.rig.rig import MadeFrom, Rig, SourceFile, unbuilt
from plica.rig.rig_json import encoded, encoder, write_rig
from plica.workspace import Refused

if TYPE_CHECKING:
    from plica.mesh.computed_cache import ComputedCache, Locate
    from plica.texture.mask_set import MaskOptions

DIGITS: Final = 32
_NOT_IN_OUTPUTS: Final = frozenset({"strengths"})  # what clips reach: they are measured over, and made into no file


@dataclass(frozen=True, eq=False)
class BuildSources:
    """The files that the outputs of a rig are made of, with a digest of each as it was before the build read it.

    `locate` finds them; a file that is not there has no digest. `memory` knows what has not changed since.
    """

    locate: Locate
    memory: ComputedCache
    digests: tuple[tuple[str, str], ...]

    def changed(self) -> list[str]:
        """The files that are others by now."""
        return [file for file, digest in self.digests if _digest(file, self.locate, self.memory) != digest]


def sources_of(rig: Rig, locate: Locate, memory: ComputedCache) -> BuildSources:
    """The files that a rig's outputs are made of, as they are now."""
    digests = ((file, _digest(file, locate, memory)) for file in _made_of(rig))
    return BuildSources(locate, memory, tuple(digests))


def _made_of(rig: Rig) -> Iterator[str]:
    files = (file for file, reaches, _, _ in files_of(rig) if not _NOT_IN_OUTPUTS.issuperset(reaches))
    yield from dict.fromkeys(files)


def _digest(file: str, locate: Locate, memory: ComputedCache) -> str:
    located: Path | Refused = locate(file)
    return "" if isinstance(located, Refused) else memory.digest(located)


def build_id(rig: Rig, sources: BuildSources | None, normals: bool, masks: MaskOptions | None) -> str:
    """The id of what a rig is built to: 32 hexadecimal digits of a SHA-256.

    It is made of the rig, the contents of the files it is computed on, whether normals are computed, how masks are made
    (`masks`, None where no target makes any, which counts as made in the usual way), and the version of Plica.
    """
    encode = encoder()
    chosen = None if masks is None or masks == type(masks)() else masks._asdict()
    facts = [__version__, normals, chosen, [] if sources is None else [list(pair) for pair in sources.digests]]
    text = write_rig(unbuilt(rig)) + encode(facts)
    return sha256(encoded(text)).hexdigest()[:DIGITS]


def made_from(rig: Rig, sources: BuildSources | None) -> MadeFrom:
    """What a build of a rig is made from: files that were not there are left out."""
    files = () if sources is None else sources.digests
    digest = sha256(encoded(write_rig(unbuilt(rig)))).hexdigest()
    return MadeFrom(__version__, digest, tuple(SourceFile(*pair) for pair in files if pair[1]))
