"""The sheet: a character as one page that opens from disk, to be looked at and judged; `README.md` tells of it."""
