"""Changes to inputs that keep some of their structure, so that they get past the first checks.

Each function here makes a `Mutate`: it changes an input a little, with nothing but the given source of chance.
"""

from __future__ import annotations

import io
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Sequence
from random import Random
from typing import Any

from tests.fuzz.target import Mutate

NUMBERS = (0, 1, 2, 7, 8, 16, 127, 128, 255, 256, 65535, 65536, 2**31 - 1, 2**31, 2**32 - 1, 2**63 - 1, 2**64 - 1)
ODD: tuple[Any, ...] = (
    None, True, False, -1, 0, 1, 2, 3, 5, 7, 255, 65536, 2**31, 2**53, 10**30, -(10**30), 0.5, -0.0, 1e-320, 1e308,
    float("inf"), float("nan"), "", "x", "\ud800", "\0", "a*b", "{a}", "../x", "data:;base64,AAAA", "\x1b[31m", "\n",
    "\u202e", [], [0], [[]], {}, {"POSITION": 0}, {"node": 0}, [{}], [1e300] * 3, [0.0] * 4, [0] * 16,
)  # fmt: skip
_DEEP = "nested as deep as "  # a text that stands for such a value while a document is changed
_TEXT = re.compile(r'"[^"\n]*"|[\w{}.]+|\s+|[^\s\w]')


def of_bytes(words: Sequence[bytes] = ()) -> Mutate:
    """Bytes changed, left out, put in, repeated; numbers and `words` written over or between."""

    def mutate(random: Random, data: bytes) -> bytes:
        changed = bytearray(data)
        for _ in range(random.choice((1, 1, 2, 4))):
            at = random.randrange(len(changed) + 1)
            length = min(random.choice((1, 1, 2, 4, 8, 32)), len(changed) - at)
            kind = random.randrange(7)
            if kind == 0 and length:
                changed[at] ^= 1 << random.randrange(8)
            elif kind == 1 and length:
                changed[at] = random.randrange(256)
            elif kind == 2:
                del changed[at : at + length]
            elif kind == 3:
                changed[at:at] = random.randbytes(random.choice((1, 2, 4)))
            elif kind == 4:
                changed[at:at] = changed[max(0, at - length) : at] * random.choice((1, 2, 50))
            elif kind == 5 or not words:
                width = random.choice((1, 2, 4, 8))
                number = random.choice(NUMBERS) % 256**width
                changed[at : at + width] = number.to_bytes(width, random.choice(("little", "big")))
            else:
                over = random.randrange(2) * length
                changed[at : at + over] = random.choice(words)
        return bytes(changed)

    return mutate


def of_words(words: Sequence[str]) -> Mutate:
    """Words of a text replaced, removed, repeated, exchanged or put in; now and then its bytes instead."""
    raw = of_bytes([word.encode("utf-8", "surrogatepass") for word in words])

    def mutate(random: Random, data: bytes) -> bytes:
        parts = _TEXT.findall(data.decode("utf-8", "replace"))
        if not parts or random.random() < 0.1:
            return raw(random, data)
        for _ in range(random.randint(1, 6)):
            at = random.randrange(len(parts) or 1)
            kind = random.randrange(6)
            if kind == 0:
                parts[at : at + 1] = [random.choice(words)]
            elif kind == 1:
                del parts[at : at + random.choice((1, 1, 2, 10))]
            elif kind == 2:
                parts[at:at] = parts[max(0, at - random.randint(1, 40)) : at] * random.choice((1, 1, 8))
            elif kind == 3:
                parts[at:at] = [" ", random.choice(words), " "]
            elif kind == 4 and len(parts) > 1:
                other = random.randrange(len(parts))
                parts[at], parts[other] = parts[other], parts[at]
            else:
                digits = str(random.choice((*NUMBERS, -1, 0.001, 1e30)))
                parts[at : at + 1] = [digits]
        return "".join(parts).encode("utf-8", "surrogatepass")

    return mutate


def of_json(odd: Sequence[Any] = ODD, depths: Sequence[int] = (400,)) -> Mutate:
    """Values inside a JSON document replaced by odd ones, or by others of the same document, removed or repeated; now
    and then its bytes, or a value that is nested as deep as one of `depths`.
    """
    raw = of_bytes((b"[" * 50, b"{}", b"null", b"1e999", b'"\\ud800"', b"-", b"NaN", b"9" * 400, b"9" * 5000))

    def mutate(random: Random, data: bytes) -> bytes:
        try:
            document = json.loads(data)
        except (ValueError, RecursionError):
            return raw(random, data)
        if random.random() < 0.05:
            return raw(random, data)
        holder = [document]
        for _ in range(random.randint(1, 4)):
            places = _places(holder)
            inside, key = random.choice(places)
            kind = random.randrange(5)
            if kind == 0 and inside is not holder:
                del inside[key]
            elif kind == 1:
                source, other = random.choice(places)
                inside[key] = json.loads(json.dumps(source[other]))
            elif kind == 2 and isinstance(inside, list):
                inside[key:key] = json.loads(json.dumps(inside[key : key + 1])) * random.choice((1, 1, 30))
            elif kind == 3 and random.random() < 0.2:
                inside[key] = f"{_DEEP}{random.choice(depths)}"
            else:
                inside[key] = json.loads(json.dumps(random.choice(odd)))
        written = json.dumps(holder[0])
        for depth in depths:
            written = written.replace(f'"{_DEEP}{depth}"', "[" * depth + "]" * depth)
        return written.encode("ascii")

    return mutate


def _places(value: Any) -> list[tuple[Any, Any]]:
    """Every place inside a JSON value: the list or object that holds it, and its key there."""
    result: list[tuple[Any, Any]] = []
    pending = [value]
    while pending:
        holder = pending.pop()
        for key, item in holder.items() if isinstance(holder, dict) else enumerate(holder):
            result.append((holder, key))
            if isinstance(item, dict | list):
                pending.append(item)
    return result


def of_glb(document: Mutate) -> Mutate:
    """A binary glTF container (glTF 2.0 section 4.4) whose JSON or binary chunk was changed, lengths put right; now
    and then its bytes.
    """
    raw = of_bytes((b"glTF", b"JSON", b"BIN\0"))

    def mutate(random: Random, data: bytes) -> bytes:
        chunks = _chunks(data)
        if not chunks or random.random() < 0.15:
            return raw(random, data)
        at = random.randrange(len(chunks))
        kind, content = chunks[at]
        chunks[at] = (kind, (document if kind == 0x4E4F534A else raw)(random, content))
        return glb(chunks)

    return mutate


def _chunks(data: bytes) -> list[tuple[int, bytes]]:
    result, at = [], 12
    while at + 8 <= len(data):
        length, kind = struct.unpack_from("<II", data, at)
        result.append((kind, data[at + 8 : at + 8 + length]))
        at += 8 + length
    return result


def glb(chunks: Sequence[tuple[int, bytes]]) -> bytes:
    """A container of these chunks, (kind, content)."""
    body = b""
    for kind, content in chunks:
        padded = content + (b" " if kind == 0x4E4F534A else b"\0") * (-len(content) % 4)
        body += struct.pack("<II", len(padded), kind) + padded
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


def of_zip(member: Callable[[str], Mutate], compression: int = zipfile.ZIP_STORED) -> Mutate:
    """A zip archive with one member changed by what `member` gives for its name, left out, doubled or renamed; sums put
    right; now and then its bytes.
    """
    raw = of_bytes((b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06"))

    def mutate(random: Random, data: bytes) -> bytes:
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                members = [(name, archive.read(name)) for name in archive.namelist()]
        except Exception:  # an archive that was damaged before
            return raw(random, data)
        if not members or random.random() < 0.15:
            return raw(random, data)
        at = random.randrange(len(members))
        name, content = members[at]
        kind = random.randrange(12)
        if kind == 0:
            del members[at]
        elif kind == 1:
            members.append((name, content))
        elif kind == 2:
            members[at] = (random.choice(members)[0], content)
        elif kind == 3:
            members[at] = (random.choice(("../x", "", "a/b", "\u202e", name.upper(), "x" * 300)), content)
        else:
            members[at] = (name, member(name)(random, content))
        return zipped(members, compression)

    return mutate


def zipped(members: Sequence[tuple[str, bytes]], compression: int = zipfile.ZIP_STORED) -> bytes:
    """An archive of these members, without a date."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", compression) as archive:
        for name, content in members:
            archive.writestr(zipfile.ZipInfo(name), content, compression)
    return held.getvalue()


def of_png(words: Sequence[bytes] = ()) -> Mutate:
    """A PNG with one chunk changed, left out or doubled and its sum put right; anything else by its bytes."""
    raw = of_bytes(words)

    def mutate(random: Random, data: bytes) -> bytes:
        if not data.startswith(b"\x89PNG\r\n\x1a\n") or random.random() < 0.15:
            return raw(random, data)
        chunks, at = [], 8
        while at + 12 <= len(data):
            length = int.from_bytes(data[at : at + 4], "big")
            chunks.append((data[at + 4 : at + 8], data[at + 8 : at + 8 + length]))
            at += 12 + length
        if not chunks:
            return raw(random, data)
        at = random.randrange(len(chunks))
        kind, content = chunks[at]
        chosen = random.randrange(8)
        if chosen == 0:
            del chunks[at]
        elif chosen == 1:
            chunks.insert(random.randrange(len(chunks)), chunks[at])
        elif kind == b"IDAT" and chosen < 5:
            chunks[at] = (kind, zlib.compress(raw(random, _unpacked(content))))
        else:
            chunks[at] = (kind, raw(random, content))
        return b"\x89PNG\r\n\x1a\n" + b"".join(png_chunk(*chunk) for chunk in chunks)

    return mutate


def _unpacked(content: bytes) -> bytes:
    try:
        return zlib.decompressobj().decompress(content, 1 << 16)
    except zlib.error:
        return content


def png_chunk(kind: bytes, content: bytes) -> bytes:
    """A chunk of a PNG with its length and its sum."""
    return len(content).to_bytes(4, "big") + kind + content + zlib.crc32(kind + content).to_bytes(4, "big")


def one_of(*mutators: Mutate) -> Mutate:
    """One of several, by chance."""

    def mutate(random: Random, data: bytes) -> bytes:
        return random.choice(mutators)(random, data)

    return mutate


def after_first_line(mutators: dict[bytes, Mutate], otherwise: Mutate) -> Mutate:
    """Keeps an input's first line, which says what the rest is: the rest is changed by that line's own `Mutate`."""

    def mutate(random: Random, data: bytes) -> bytes:
        head, _, rest = data.partition(b"\n")
        return head + b"\n" + mutators.get(head, otherwise)(random, rest)

    return mutate
