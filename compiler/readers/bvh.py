"""Motion capture in the BVH text format: a HIERARCHY of joints with their channels, then MOTION, a line for
each frame.

The format has no standard body; this follows its usual reading: angles are degrees, a joint's turns are
made in the order of its channels, each about the axes that the ones before have turned, and position
channels replace the joint's OFFSET. Its lengths have no stated unit.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.readers.clip import Clip
from plica.readers.gltf_document import content
from plica.readers.model_outline import UnreadableModel, distinct
from plica.skeleton.skeleton import ORIGIN, Joint, Skeleton

CHANNELS = tuple(f"{axis}{kind}" for kind in ("position", "rotation") for axis in "xyz")


class Node(NamedTuple):
    """A joint while it is read: channel names in lower case."""

    name: str
    parent: int | None
    offset: tuple[float, float, float]
    channels: tuple[str, ...]


def read_bvh(path: Path) -> Clip:
    """The clip of a file. Raises UnreadableModel, with the line where the text goes wrong."""
    return parse_bvh(content(path, "clip_bytes").decode("utf-8", errors="replace"), path.stem)


def parse_bvh(content: str, name: str) -> Clip:
    """The clip of a text. Raises UnreadableModel, with the line where the text goes wrong."""
    lines = content.splitlines()
    nodes, after = _Hierarchy(lines).read()
    frames, seconds, first = _motion_head(lines, after)
    width = sum(len(node.channels) for node in nodes)
    values = _frames(lines, first, frames, width)
    rotations = np.zeros((frames, len(nodes), 4))
    translations = np.empty((frames, len(nodes), 3))
    column = 0
    for position, node in enumerate(nodes):
        own = values[:, column : column + len(node.channels)]
        column += len(node.channels)
        rotations[:, position] = _rotation(own, node.channels)
        translations[:, position] = node.offset
        for channel, axis in enumerate(CHANNELS[:3]):
            if axis in node.channels:
                translations[:, position, channel] = own[:, node.channels.index(axis)]
    names = distinct([node.name for node in nodes], [], "joints")
    joints = tuple(Joint(unique, node.parent, node.offset) for unique, node in zip(names, nodes, strict=True))
    return Clip(
        name,
        np.arange(frames, dtype=np.float64) * seconds,
        rotations,
        translations,
        Skeleton(joints),
        in_metres=False,
    )


class _Hierarchy:
    """Reads the HIERARCHY part word by word; words know their line."""

    def __init__(self, lines: list[str]) -> None:
        self._lines = lines
        self._line = 0
        self._words: list[str] = []

    def read(self) -> tuple[list[Node], int]:
        """The joints, parents first, and the index of the line after `MOTION`."""
        if self._next().upper() != "HIERARCHY":
            raise self._wrong("HIERARCHY")
        nodes: list[Node] = []
        while (word := self._next().upper()) != "MOTION":
            if word != "ROOT":
                raise self._wrong("ROOT or MOTION")
            self._tree(nodes)
        if not nodes:
            raise self._wrong("ROOT")
        return nodes, self._line

    def _tree(self, nodes: list[Node]) -> None:
        open_joints = [self._joint(None, nodes)]
        while open_joints:
            word = self._next().upper()
            if word == "}":
                open_joints.pop()
            elif word == "JOINT":
                open_joints.append(self._joint(open_joints[-1], nodes))
            elif word == "END":
                self._end_site()
            else:
                raise self._wrong("JOINT, End Site or }")

    def _joint(self, parent: int | None, nodes: list[Node]) -> int:
        name = self._rest_of_line()
        if self._next() != "{":
            raise self._wrong("{")
        offset, channels = ORIGIN, None
        while channels is None:
            word = self._next().upper()
            if word == "OFFSET":
                offset = (self._number(), self._number(), self._number())
            elif word == "CHANNELS":
                channels = self._channels()
            else:
                raise self._wrong("OFFSET or CHANNELS")
        nodes.append(Node(name or f"joint_{len(nodes)}", parent, offset, channels))
        return len(nodes) - 1

    def _channels(self) -> tuple[str, ...]:
        count = self._next()
        if not count.isdecimal() or int(count[:9]) > len(CHANNELS):
            raise self._wrong("a number of channels from 0 to 6")
        found: list[str] = []
        for _ in range(int(count)):
            channel = self._next().lower()
            if channel not in CHANNELS or channel in found:
                raise self._wrong("Xposition, Yposition, Zposition, Xrotation, Yrotation or Zrotation, once each")
            found.append(channel)
        return tuple(found)

    def _end_site(self) -> None:
        """An end site tells where the last bone ends; it does not move."""
        self._rest_of_line()
        if self._next() != "{":
            raise self._wrong("{")
        while (word := self._next()) != "}":
            if word.upper() != "OFFSET":
                raise self._wrong("OFFSET or }")
            for _ in range(3):
                self._number()

    def _next(self) -> str:
        while not self._words:
            if self._line == len(self._lines):
                raise UnreadableModel(f"line {len(self._lines)}: the text ends within the HIERARCHY")
            self._words = self._lines[self._line].replace("{", " { ").replace("}", " } ").split()
            self._line += 1
        self._word = self._words.pop(0)
        return self._word

    def _rest_of_line(self) -> str:
        """The words up to a brace or the end of the line: names may hold spaces."""
        end = self._words.index("{") if "{" in self._words else len(self._words)
        words, self._words = self._words[:end], self._words[end:]
        return " ".join(words)

    def _number(self) -> float:
        word = self._next()
        try:
            value = float(word)
        except ValueError:
            raise self._wrong("a number") from None
        if not abs(value) < 1e12:
            raise self._wrong("a usable number")
        return value

    def _wrong(self, expected: str) -> UnreadableModel:
        return UnreadableModel(f"line {self._line}: `{self._word[:40]}` stands where {expected} should")


def _motion_head(lines: list[str], after: int) -> tuple[int, float, int]:
    """Number of frames, seconds for each, and the index of the first frame's line."""
    frames: int | None = None
    seconds: float | None = None
    position = after
    while frames is None or seconds is None:
        if position >= len(lines):
            raise UnreadableModel(f"line {len(lines)}: `Frames:` and `Frame Time:` are not both there")
        key, _, value = lines[position].partition(":")
        position += 1
        word = key.strip().lower()
        if word == "frames" and value.strip().isdecimal() and len(value.strip()) < 10:
            frames = int(value)
        elif word == "frame time":
            seconds = _seconds(value, position)
        elif word or value:
            raise UnreadableModel(f"line {position}: `Frames: ...` or `Frame Time: ...` is expected here")
    if frames == 0:
        raise UnreadableModel("it holds no frames")
    return frames, seconds, position


def _seconds(value: str, line: int) -> float:
    try:
        seconds = float(value)
    except ValueError:
        seconds = 0.0
    if not 1e-6 <= seconds <= 3600.0:
        raise UnreadableModel(f"line {line}: the frame time is not a usable number of seconds")
    return seconds


def _frames(lines: list[str], first: int, frames: int, width: int) -> NDArray[np.float64]:
    """The channels' values, (frames, width). Read as one block; a fault is then looked for by line."""
    words = " ".join(lines[first:]).split()
    try:
        values = np.array(words, dtype=np.float64)
    except ValueError:
        values = np.full(1, np.nan)
    if len(values) == frames * width and np.all(np.abs(values) < 1e12):
        return values.reshape(frames, width)
    raise UnreadableModel(_frame_fault(lines, first, frames, width))


def _frame_fault(lines: list[str], first: int, frames: int, width: int) -> str:
    met = 0
    for number, line in enumerate(lines[first:], first + 1):
        words = line.split()
        if not words:
            continue
        met += 1
        if met > frames:
            return f"line {number}: there are more than the {frames} frames that were said to come"
        if len(words) != width:
            return f"line {number}: the frame has {len(words)} values, but there are {width} channels"
        for word in words:
            try:
                usable = abs(float(word)) < 1e12
            except ValueError:
                usable = False
            if not usable:
                return f"line {number}: `{word[:40]}` is not a usable number"
    return f"line {len(lines)}: {met} frames are there of {frames}"


def _rotation(values: NDArray[np.float64], channels: tuple[str, ...]) -> NDArray[np.float64]:
    """The product of the rotation channels in their order, (frames, 4)."""
    from plica.readers.quaternions import multiply

    result = np.zeros((len(values), 4))
    result[:, 3] = 1.0
    for column, channel in enumerate(channels):
        if channel.endswith("rotation"):
            turn = np.zeros((len(values), 4))
            half = np.radians(values[:, column]) / 2
            turn[:, "xyz".index(channel[0])] = np.sin(half)
            turn[:, 3] = np.cos(half)
            result = multiply(result, turn)
    return result
