"""A first spec for a model that exists: its sides, hinges, spans and morph targets, found rather than asked for."""

from plica.start.compose import path_from, start_spec

__all__ = ["path_from", "start_spec"]
