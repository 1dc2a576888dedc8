"""The one entry to clips of any format."""

from __future__ import annotations

from pathlib import Path

from plica.diagnostics import Diagnostics
from plica.readers.clip import Clip
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import USD_ENDINGS, tell
from plica.source import Span


def read_clips(path: Path, rate: float | None = None) -> tuple[Clip, ...]:
    """The clips of a BVH, glTF or OpenUSD file.

    They are sampled at their key times and, in glTF and OpenUSD, 24 times a second where keys are further apart; glTF
    ones also `rate` times a second.

    Raises UnreadableModel.
    """
    if path.suffix.lower() in (".gltf", ".glb"):
        from plica.readers.gltf_clip import read_gltf_clips

        clips = read_gltf_clips(path, rate)
        if not clips:
            raise UnreadableModel("it holds no animation")
        return clips
    if path.suffix.lower() == ".bvh":
        from plica.readers.bvh import read_bvh

        return (read_bvh(path),)
    if path.suffix.lower() in USD_ENDINGS:
        from plica.readers.usd_clip import read_usd_clips

        clips = read_usd_clips(path)
        if not clips:
            raise UnreadableModel("it holds no animation of a skeleton with time samples")
        return clips
    raise UnreadableModel(
        "clips are read from glTF 2.0 (.gltf, .glb), OpenUSD (.usd, .usda, .usdc, .usdz) and BVH (.bvh) files"
    )


def find_clips(
    path: Path, shown: str, span: Span | None, diagnostics: Diagnostics, rate: float | None = None
) -> tuple[Clip, ...]:
    """The clips, or none and a diagnostic at `span`; `shown` is what the user calls the file."""
    try:
        return read_clips(path, rate)
    except UnreadableModel as error:
        tell(error, "unreadable-clip", shown, span, diagnostics)
        return ()
