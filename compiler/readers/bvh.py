"""Motion capture in the BVH text format: a HIERARCHY of joints with their channels, then MOTION, a line for
each frame.

The format has no standard body; this follows its usual reading: angles are degrees, a joint's turns are
made in the order of its channels, each about the axes that the ones before have turned, and position
channels replace the joint's OFFSET. Its lengths have no stated unit.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.readers.allowance import Allowance
from plica.readers.clip import SAMPLE_BYTES, Clip
from plica.readers.gltf_document import content
from plica.readers.json_fields import LARGEST_NUMBER
from plica.readers.model_outline import UnreadableModel, distinct
from plica.readers.skeletons import check_joint_count
from plica.skeleton.skeleton import ORIGIN, Joint, Skeleton

CHANNELS = tuple(f"{axis}{kind}" for kind in ("position", "rotation") for axis in "xyz")
# Only these characters part words: Python's own notion of blanks takes in control characters, which no number may hold.
_WORD: Final = re.compile(r"[{}]|[^ \t\n{}]+")
_VALUE: Final = re.compile(r"[^ \t\n]+")
_BLANKS: Final = re.compile(r"[ \t\n]")
_NAME: Final = re.compile(r"[^\n{]*")
_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_CHARACTERS_OF_NUMBERS: Final = b"0123456789+-.eE \t\n"
_CHARACTERS_AT_ONCE: Final = 1 << 20


class Node(NamedTuple):
    """A joint while it is read: channel names in lower case."""

    name: str
    parent: int | None
    offset: tuple[float, float, float]
    channels: tuple[str, ...]


class Head(NamedTuple):
    """What MOTION begins with: the number of frames, seconds for each, and where in the text their values begin."""

    frames: int
    seconds: float
    first: int


def read_bvh(path: Path) -> Clip:
    """The clip of a file. Raises UnreadableModel, with the line where the text goes wrong."""
    try:
        text = content(path, "clip_bytes").decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnreadableModel(f"it is not UTF-8 text (byte {error.start})") from error
    return parse_bvh(text, path.stem)


def parse_bvh(content: str, name: str) -> Clip:
    """The clip of a text. Raises UnreadableModel, with the line where the text goes wrong."""
    text = content.replace("\r\n", "\n").replace("\r", "\n")
    nodes, after = _Hierarchy(text).read()
    head = _motion_head(text, after)
    frames = head.frames
    width = sum(len(node.channels) for node in nodes)
    if width == 0:
        raise UnreadableModel("none of its joints has a channel, so it holds no motion")
    Allowance(len(text)).take(frames * len(nodes) * SAMPLE_BYTES, f"the motion of {len(nodes)} joints")
    values = _frames(text, head, width)
    rotations = np.zeros((frames, len(nodes), 4))
    rotations[..., 3] = 1.0
    translations = np.empty((frames, len(nodes), 3))
    column = 0
    for position, node in enumerate(nodes):
        own = values[:, column : column + len(node.channels)]
        column += len(node.channels)
        if node.channels:
            rotations[:, position] = _rotation(own, node.channels)
        translations[:, position] = node.offset
        for channel, axis in enumerate(CHANNELS[:3]):
            if axis in node.channels:
                translations[:, position, channel] = own[:, node.channels.index(axis)]
    names = distinct([node.name for node in nodes], [], "joints")
    joints = tuple(Joint(unique, node.parent, node.offset) for unique, node in zip(names, nodes, strict=True))
    return Clip(
        name,
        np.arange(frames, dtype=np.float64) * head.seconds,
        rotations,
        translations,
        Skeleton(joints),
        in_metres=False,
    )


class _Hierarchy:
    """Reads the HIERARCHY part word by word."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._place = 0
        self._word = ""

    def read(self) -> tuple[list[Node], int]:
        """The joints, parents first, and the place right after `MOTION`."""
        if self._next().upper() != "HIERARCHY":
            raise self._wrong("HIERARCHY")
        nodes: list[Node] = []
        while (word := self._next().upper()) != "MOTION":
            if word != "ROOT":
                raise self._wrong("ROOT or MOTION")
            self._tree(nodes)
        if not nodes:
            raise self._wrong("ROOT")
        check_joint_count(len(nodes))
        return nodes, self._place

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
        if len(count) != 1 or count not in "0123456":
            raise self._wrong("a number of channels from 0 to 6")
        result: list[str] = []
        for _ in range(int(count)):
            channel = self._next().lower()
            if channel not in CHANNELS or channel in result:
                raise self._wrong("Xposition, Yposition, Zposition, Xrotation, Yrotation or Zrotation, once each")
            result.append(channel)
        return tuple(result)

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
        match = _WORD.search(self._text, self._place)
        if match is None:
            lines = _line(self._text, len(self._text.rstrip("\n")))
            raise UnreadableModel(f"line {lines if self._text else 0}: the text ends within the HIERARCHY")
        self._word, self._place = match.group(), match.end()
        return self._word

    def _rest_of_line(self) -> str:
        """The words up to a brace or the end of the line: names may hold spaces."""
        match = _NAME.match(self._text, self._place)
        assert match is not None
        self._place = match.end()
        return " ".join(_VALUE.findall(match.group()))

    def _number(self) -> float:
        word = self._next()
        if not _NUMBER.fullmatch(word):
            raise self._wrong("a number")
        value = float(word)
        if not abs(value) < LARGEST_NUMBER:
            raise self._wrong("a usable number")
        return value

    def _wrong(self, expected: str) -> UnreadableModel:
        line = _line(self._text, self._place)
        return UnreadableModel(f"line {line}: `{self._word[:40]}` stands where {expected} should")


def _line(text: str, place: int) -> int:
    """The number of the line that a place lies in."""
    return text.count("\n", 0, place) + 1


def _motion_head(text: str, after: int) -> Head:
    frames: int | None = None
    seconds: float | None = None
    place = after
    while frames is None or seconds is None:
        if place >= len(text):
            lines = _line(text, len(text.rstrip("\n")))
            raise UnreadableModel(f"line {lines}: `Frames:` and `Frame Time:` are not both there")
        end = _end_of_line(text, place)
        key, _, value = text[place:end].partition(":")
        word, value = key.strip(" \t").lower(), value.strip(" \t")
        if word == "frames" and re.fullmatch("[0-9]{1,9}", value):
            frames = int(value)
        elif word == "frame time":
            seconds = _seconds(value, _line(text, place))
        elif word or value:
            line = _line(text, place)
            raise UnreadableModel(f"line {line}: `Frames: ...` or `Frame Time: ...` is expected here")
        place = end + 1
    if frames == 0:
        raise UnreadableModel("it holds no frames")
    return Head(frames, seconds, place)


def _seconds(value: str, line: int) -> float:
    seconds = float(value) if _NUMBER.fullmatch(value) else 0.0
    if not 1e-6 <= seconds <= 3600.0:
        raise UnreadableModel(f"line {line}: the frame time is not a usable number of seconds")
    return seconds


def _end_of_line(text: str, place: int) -> int:
    end = text.find("\n", place)
    return len(text) if end < 0 else end


def _frames(text: str, head: Head, width: int) -> NDArray[np.float64]:
    """The channels' values, (frames, width). A fault is looked for by line once there is one."""
    count = head.frames * width
    if 2 * count - 1 <= len(text) - head.first:  # as many values need as many characters, and blanks between them
        values = np.empty(count)
        filled = 0
        for words in _words(text, head.first):
            if words is None or filled + len(words) > count:
                break
            try:
                values[filled : filled + len(words)] = np.fromiter(map(float, words), np.float64, len(words))
            except ValueError:
                break
            filled += len(words)
        else:
            if filled == count and np.all(np.abs(values) < LARGEST_NUMBER):
                return values.reshape(head.frames, width)
    raise UnreadableModel(_frame_fault(text, head, width))


def _words(text: str, first: int) -> Iterator[list[str] | None]:
    """The words from a place on, a few at a time; None for those that hold what no number holds."""
    while first < len(text):
        blank = _BLANKS.search(text, first + _CHARACTERS_AT_ONCE)
        end = len(text) if blank is None else blank.end()
        part = text[first:end]
        usable = part.isascii() and not part.encode("ascii").translate(None, _CHARACTERS_OF_NUMBERS)
        yield part.split() if usable else None
        first = end


def _frame_fault(text: str, head: Head, width: int) -> str:
    number, met, place = _line(text, head.first) - 1, 0, head.first
    while place < len(text):
        end = _end_of_line(text, place)
        number += 1
        count, odd = 0, ""
        for result in _VALUE.finditer(text, place, end):
            count += 1
            odd = odd or ("" if _usable(result.group()) else result.group()[:40])
        place = end + 1
        if not count:
            continue
        met += 1
        if met > head.frames:
            return f"line {number}: there are more than the {head.frames} frames that were said to come"
        if count != width:
            return f"line {number}: the frame has {count} values, but there are {width} channels"
        if odd:
            return f"line {number}: `{odd}` is not a usable number"
    return f"line {number}: {met} frames are there of {head.frames}"


def _usable(word: str) -> bool:
    return _NUMBER.fullmatch(word) is not None and abs(float(word)) < LARGEST_NUMBER


def _rotation(values: NDArray[np.float64], channels: tuple[str, ...]) -> NDArray[np.float64]:
    """The product of the rotation channels in their order, (frames, 4)."""
    from plica.skeleton.quaternions import multiply

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
