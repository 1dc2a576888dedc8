"""Diagnostics: one record for every stage, one catalogue, one place that words and renders them."""

from plica.diagnostics.record import Diagnostic, Diagnostics, Fix, Label, Severity

__all__ = ["Diagnostic", "Diagnostics", "Fix", "Label", "Severity"]
