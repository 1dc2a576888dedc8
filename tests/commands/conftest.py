"""Fixtures of the commands' tests."""

from __future__ import annotations

from tests.support.compared import repository

__all__ = ["repository"]
