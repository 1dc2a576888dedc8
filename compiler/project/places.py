"""Where the keys and values of a TOML text stand, which Python's reader does not tell.

Made for texts that Python's reader has taken: nothing is checked here, and what is nested deeper than `DEEPEST` stands
where the value around it stands.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from plica.source import Source, Span

DEEPEST = 5  # parts of a way that has a place of its own

Way = tuple[str | int, ...]
"""From the text's own table to a value: keys, and numbers from 0 in arrays."""

# TOML 1.0: strings of four kinds, comments, blanks, line ends, signs, and all else that is written without blanks.
_TOKEN = re.compile(
    r'''(?P<text>"""(?:[^"\\]|\\.|"(?!""))*+"{3,5}|\'\'\'(?:[^']|'(?!\'\'))*+'{3,5}|"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+')
    | (?P<blank>[ \t\r]++|\#[^\n]*+)
    | (?P<end>\n)
    | (?P<sign>[\[\]{}=,.])
    | (?P<bare>[^\s\[\]{}=,."'\#]++)''',
    re.VERBOSE | re.DOTALL,
)
_ESCAPE = re.compile(r"\\(?:u([0-9a-fA-F]{4})|U([0-9a-fA-F]{8})|(.))", re.DOTALL)


def comments(text: str) -> list[tuple[int, int]]:
    """Where the comments of a text start and end."""
    found = []
    at = 0
    while (match := _TOKEN.match(text, at)) is not None:
        at = match.end()
        if match[0].startswith("#"):
            found.append(match.span())
    return found


class _Token(NamedTuple):
    kind: str
    text: str
    start: int
    end: int


class _Frame:
    """An array or an inline table that is being read."""

    def __init__(self, way: Way, closing: str, start: int) -> None:
        self.way, self.closing, self.start, self.index = way, closing, start, 0


class Places:
    """The places of one text's keys and values."""

    def __init__(self, source: Source) -> None:
        self._source = source
        self._keys: dict[Way, tuple[int, int]] = {}
        self._values: dict[Way, tuple[int, int]] = {}
        _Scan(source.text, self._keys, self._values).run()

    def of_key(self, way: Way) -> Span | None:
        """The key, or the nearest thing around it that has a place."""
        return self._near(way, self._keys)

    def of_value(self, way: Way) -> Span | None:
        """The value, or the nearest thing around it that has a place."""
        return self._near(way, self._values)

    def _near(self, way: Way, first: dict[Way, tuple[int, int]]) -> Span | None:
        for length in range(len(way), 0, -1):
            for known in (first, self._values, self._keys):
                if way[:length] in known:
                    return Span(self._source, *known[way[:length]])
        return None


class _Scan:
    """One walk through a text."""

    def __init__(self, text: str, keys: dict[Way, tuple[int, int]], values: dict[Way, tuple[int, int]]) -> None:
        self._text, self._keys, self._values = text, keys, values
        self._at = 0
        self._tables: dict[Way, int] = {}  # arrays of tables, and the number of the latest table of each

    def run(self) -> None:
        table: Way = ()
        while (token := self._peek(lines=True)).kind != "":
            if token.text == "[":
                table = self._header()
            else:
                way = self._key(table)
                self._take()  # the sign `=`
                self._value(way)

    def _header(self) -> Way:
        """`[a.b]` or `[[a.b]]`: the table that what follows stands in."""
        self._take()
        is_array = self._text.startswith("[", self._at)
        if is_array:
            self._take()
        start = self._peek().start
        names, end = self._names()
        for _ in range(1 + is_array):
            self._take()
        way: Way = ()
        for number, name in enumerate(names, 1):
            way = (*way, name)
            if way in self._tables and not (is_array and number == len(names)):
                way = (*way, self._tables[way])
            self._keys.setdefault(way[:DEEPEST], (start, end))
        if is_array:
            self._tables[way] = self._tables.get(way, -1) + 1
            way = (*way, self._tables[way])
        self._put(self._keys, way, start, end)
        return way

    def _key(self, table: Way) -> Way:
        start = self._peek().start
        way = table
        names, end = self._names()
        for name in names:
            way = (*way, name)
            self._keys.setdefault(way[:DEEPEST], (start, end))
        return way

    def _names(self) -> tuple[list[str], int]:
        """The parts of a key, with points between them, and where it ends."""
        token = self._take()
        names = [_unquoted(token)]
        while self._peek().text == ".":
            self._take()
            token = self._take()
            names.append(_unquoted(token))
        return names, token.end

    def _value(self, way: Way) -> None:
        """One value and all that it holds; without recursion, however deep that is."""
        frames: list[_Frame] = []
        while True:
            token = self._peek(lines=bool(frames))
            if token.kind == "":
                return
            if frames and token.text == frames[-1].closing:
                self._take()
                frame = frames.pop()
                self._put(self._values, frame.way, frame.start, token.end)
            elif frames and token.text == ",":
                self._take()
                frames[-1].index += 1
                continue
            else:
                if frames:
                    way = self._element(frames[-1])
                    token = self._peek(lines=True)
                if token.text in ("[", "{"):
                    self._take()
                    frames.append(_Frame(way, "]" if token.text == "[" else "}", token.start))
                    continue
                self._put(self._values, way, token.start, self._scalar_end())
            if not frames:
                return

    def _element(self, frame: _Frame) -> Way:
        """The way to the next value in an array or an inline table; of the latter its key is taken."""
        if frame.closing == "]":
            return (*frame.way[:DEEPEST], frame.index)
        way = self._key(frame.way[:DEEPEST])
        self._take()  # the sign `=`
        return way

    def _scalar_end(self) -> int:
        """Takes a value that is neither array nor table; numbers and times may hold points and blanks."""
        end = self._take().end
        while (token := self._peek()).kind == "bare" or token.text == ".":
            end = self._take().end
        return end

    def _put(self, places: dict[Way, tuple[int, int]], way: Way, start: int, end: int) -> None:
        if len(way) <= DEEPEST:
            places.setdefault(way, (start, end))

    def _peek(self, lines: bool = False) -> _Token:
        """The next token that is no blank, and with `lines` no line end either; of the kind "" at the end."""
        while (match := _TOKEN.match(self._text, self._at)) is not None:
            kind = match.lastgroup or ""
            if kind != "blank" and not (lines and kind == "end"):
                return _Token(kind, match[0], *match.span())
            self._at = match.end()
        return _Token("", "", self._at, self._at)

    def _take(self) -> _Token:
        token = self._peek()
        self._at = token.end
        return token


def _unquoted(token: _Token) -> str:
    """The name that a token of a key stands for."""
    if token.kind != "text":
        return token.text
    inner = token.text[1:-1]
    return inner if token.text[0] == "'" else _ESCAPE.sub(_escaped, inner)


def _escaped(match: re.Match[str]) -> str:
    code = match[1] or match[2]
    if code is not None:
        return chr(int(code, 16))
    return {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r"}.get(match[3], match[3])
