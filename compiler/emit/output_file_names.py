"""File names made of names that users choose."""

from __future__ import annotations

import keyword
import unicodedata


def safe_file_name(name: str) -> str:
    """The name in ASCII letters, digits and `_`, so that it is a file name and a Python module name anywhere.

    Accents are dropped (`René` gives `Rene`), everything else becomes `_`; a name that then begins with a digit, is
    empty or is a word of Python gets a `_`.
    """
    ascii_name = unicodedata.normalize("NFKD", name)
    kept = "".join(
        letter if letter.isascii() and (letter.isalnum() or letter == "_") else "_"
        for letter in ascii_name
        if not unicodedata.combining(letter)
    )
    if not kept or kept[0].isdigit():
        kept = f"_{kept}"
    return f"{kept}_" if keyword.iskeyword(kept) else kept[:100]
