"""Plica: a text language for how a character's skin reacts to motion, and its compiler.

The stages, each a function from one type to the next plus diagnostics:

    text --parse--> Document --bind--> Spec --expand--> Rig --attach mesh--> Build --emit--> artifacts
"""

__version__ = "0.1.0"
