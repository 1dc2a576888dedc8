"""Colours: linear light and what files store."""

from __future__ import annotations

import numpy as np

from plica.picture.directions import Floats, Precision


def shown(linear: Precision) -> Precision:
    """Linear light as sRGB values from 0 to 1 (IEC 61966-2-1), the brightest gently held back."""
    held = np.where(linear > 0.85, 0.85 + 0.15 * np.tanh((linear - 0.85) / 0.15), linear)
    return np.where(held <= 0.0031308, 12.92 * held, 1.055 * np.maximum(held, 0.0031308) ** (1 / 2.4) - 0.055)


def linear(stored: Floats) -> Floats:
    """Linear light of sRGB values from 0 to 1 (IEC 61966-2-1)."""
    return np.where(stored <= 0.04045, stored / 12.92, ((np.maximum(stored, 0.04045) + 0.055) / 1.055) ** 2.4)
