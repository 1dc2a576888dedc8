"""Which vertex of a file is which point of the character, where numbers do not tell.

Vertices that nobody moved stand at their point. From there on neighbours tell: a vertex that is joined by edges to the
same known vertices as one point alone is that point, and so on inwards, until nothing more follows.
"""

from __future__ import annotations

from collections import Counter
from typing import Final

import numpy as np

from plica.mesh.arrays import Floats, Integers
from plica.mesh.recognition.similarity import nearest_pairs

UNKNOWN: Final = -1


def matched(points: Floats, edges: Integers, places: Floats, own_edges: Integers, within: float) -> Integers:
    """For each place (m,) the row of the point (n, 3) that it is, -1 where that is not certain.

    points and places in the same space; edges (e, 2) of the points, own_edges (f, 2) of the places.
    """
    rows, columns = nearest_pairs(points, places, within)
    result = np.full(len(places), UNKNOWN)
    result[columns] = rows
    if len(edges):
        _grow(result, _neighbours(edges, len(points)), _neighbours(own_edges, len(places)))
    return result


def _neighbours(edges: Integers, count: int) -> list[list[int]]:
    result: list[list[int]] = [[] for _ in range(count)]
    for one, other in edges.tolist():
        result[one].append(other)
        result[other].append(one)
    return result


def _grow(result: Integers, theirs: list[list[int]], ours: list[list[int]]) -> None:
    """Adds what neighbours tell to `result`, in place, until nothing follows any more."""
    place_of = {int(row): place for place, row in enumerate(result.tolist()) if row != UNKNOWN}
    open_places = {place for place, row in enumerate(result.tolist()) if row == UNKNOWN}
    open_rows = set(range(len(theirs))) - set(place_of)
    while open_places and open_rows:
        signs = {row: frozenset(place_of[each] for each in theirs[row] if each in place_of) for row in open_rows}
        wanted = {place: frozenset(each for each in ours[place] if result[each] != UNKNOWN) for place in open_places}
        row_counts, place_counts = Counter(signs.values()), Counter(wanted.values())
        row_with = {sign: row for row, sign in signs.items() if sign and row_counts[sign] == 1}
        new = {
            place: row_with[sign]
            for place, sign in wanted.items()
            if sign in row_with and place_counts[sign] == 1 and len(theirs[row_with[sign]]) == len(ours[place])
        }
        if not new:
            return
        for place, row in new.items():
            result[place] = row
            place_of[row] = place
        open_places -= set(new)
        open_rows -= set(new.values())
