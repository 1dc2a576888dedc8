"""Near misses: which known word a mistyped one most likely meant."""

from __future__ import annotations

from collections.abc import Iterable

MOST_LISTED = 8  # names in a hint
LONGEST = 64  # characters of a word that somebody mistyped


def closest(word: str, known: Iterable[str]) -> str | None:
    """The known word nearest to `word`, or None where nothing is near.

    Letters' case is ignored first, so that `Elbow` finds `elbow`; the measure is difflib's ratio.
    """
    candidates = sorted(set(known))
    folded = {candidate.casefold(): candidate for candidate in reversed(candidates)}
    if word.casefold() in folded:
        return folded[word.casefold()]
    if len(word) > LONGEST:
        return None
    # difflib is slow on thousands of words: only those of a similar length can be near.
    limit = max(2, len(word) // 2)
    near = [key for key in folded if abs(len(key) - len(word)) <= limit]
    from difflib import get_close_matches

    result = get_close_matches(word.casefold(), near[:5000], n=1, cutoff=0.6)
    return folded[result[0]] if result else None


def listed(kind: str, known: Iterable[str]) -> str:
    """A hint for a word that is near to nothing: what there is."""
    names = sorted(set(known))
    if not names:
        return f"there is no {kind} at all"
    more = f" and {len(names) - MOST_LISTED} more" if len(names) > MOST_LISTED else ""
    return (
        f"there {'is' if len(names) == 1 else 'are'} " + ", ".join(f"`{name}`" for name in names[:MOST_LISTED]) + more
    )


def did_you_mean(word: str, known: Iterable[str]) -> str | None:
    """A hint sentence for a near miss, or None."""
    result = closest(word, known)
    return f"did you mean `{result}`?" if result else None
