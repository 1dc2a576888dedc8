"""One canonical layout of the text, without options, and the proof that it says the same."""

from plica.format.formatted import LaidOut, formatted, lay_out
from plica.format.proof import difference

__all__ = ["LaidOut", "difference", "formatted", "lay_out"]
