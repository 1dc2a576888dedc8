"""Response curves turned round: the share of the span at which a curve gives an amount."""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np

from plica.evaluate.curves import PreparedCurve, curve_values, prepare
from plica.evaluate.poses import Array
from plica.kinds.curves import curve_knots
from plica.values import Curve

# Between two knots a cubic turns twice at the most; so many steps find every crossing that is worth finding.
_STEPS = 64


@lru_cache(maxsize=4096)
def share_of(curve: Curve, amount: float, clamped: bool = True) -> float | None:
    """The share of the span at which the curve has this amount; None where it never has.

    The ends of the span come first: if the curve ends (begins) with the amount, that is 1 (0), whatever it does in
    between. Else it is the smallest share, which on a monotone curve is the only one. A curve that is not clamped
    goes on in straight lines, and those are looked at last. The curve's value at the share is the amount to within
    1e-12.
    """
    prepared = prepare(curve)
    shares = _grid(curve)
    values = curve_values(curve, shares, clamped)
    if values[-1] == amount:
        return 1.0
    if values[0] == amount:
        return 0.0
    for (start, stop), (low, high) in zip(pairwise(shares.tolist()), pairwise((values - amount).tolist()), strict=True):
        if min(low, high) <= 0.0 <= max(low, high):
            return _root(curve, amount, clamped, start, stop)
    return None if clamped else _beyond(prepared, amount, float(values[0]), float(values[-1]))


def _grid(curve: Curve) -> Array:
    knots = curve_knots(curve) or (0.0, 1.0)
    parts = [np.linspace(start, stop, _STEPS, endpoint=False) for start, stop in pairwise(knots)]
    return np.concatenate([*parts, [1.0]])


def _root(curve: Curve, amount: float, clamped: bool, start: float, stop: float) -> float:
    from scipy.optimize import brentq

    def above(share: float) -> float:
        return float(curve_values(curve, share, clamped)) - amount

    return float(brentq(above, start, stop, xtol=1e-15, rtol=4 * np.finfo(np.float64).eps))


def _beyond(prepared: PreparedCurve, amount: float, first: float, last: float) -> float | None:
    if prepared.after != 0 and (share := 1 + (amount - last) / prepared.after) > 1:
        return share
    if prepared.before != 0 and (share := (amount - first) / prepared.before) < 0:
        return share
    return None
