"""cubic-bezier(x1, y1, x2, y2) of W3C CSS Easing Functions: y at the parameter where x is the share."""

from __future__ import annotations

import numpy as np

from plica.evaluate.poses import Array
from plica.skeleton.algebra import Quaternion

# Starting parameters are read off a table of this many steps.
_TABLE_STEPS = 256
_PLAIN_STEPS = 4
# Newton's method squares the error: after a last step this short nothing is left, unless x is almost
# level there.
_SHORT = 1e-10
_LAST_BIT = 2.0**-53


class Easing:
    """The inverse of x(t) by Newton's method; where x(t) is too level for that, in a shrinking bracket."""

    def __init__(self, controls: Quaternion) -> None:
        self.x1, self.y1, self.x2, self.y2 = controls
        self._x, self._y = Coordinate(self.x1, self.x2), Coordinate(self.y1, self.y2)
        table = self._bracketed(0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, _TABLE_STEPS + 1)))
        self._table, self._rises = table, np.append(np.diff(table), 0.0)

    def __call__(self, shares: Array) -> Array:
        """The eased values at shares in 0..1, of any shape."""
        return self._y.at(self.parameters(shares))

    @property
    def end_slopes(self) -> tuple[float, float]:
        """The slopes below 0 and above 1, by the rule for inputs outside 0..1 in CSS Easing 2.

        The line through the end and the nearer control point, or the farther one where the nearer has the
        end's x; level where both have.
        """
        before = self.y1 / self.x1 if self.x1 > 0 else self.y2 / self.x2 if self.x2 > 0 else 0.0
        if self.x2 < 1:
            return before, (1 - self.y2) / (1 - self.x2)
        return before, (1 - self.y1) / (1 - self.x1) if self.x1 < 1 else 0.0

    def parameters(self, shares: Array) -> Array:
        """The parameters t, 0..1, at which x(t) is the share."""
        # Over this angle the parameter is smooth also where x(t) starts or ends level, as with ease-in.
        steps = np.arccos(1.0 - 2.0 * shares)
        steps *= _TABLE_STEPS / np.pi
        index = steps.astype(np.intp)
        steps -= index
        steps *= self._rises.take(index)
        t = steps
        t += self._table.take(index)
        ends = shares * shares == shares
        np.copyto(t, shares, where=ends)
        good = ends
        with np.errstate(divide="ignore", invalid="ignore"):
            for _ in range(_PLAIN_STEPS):
                step = self._x.at(t)
                step -= shares
                step /= self._x.slope(t)
                np.copyto(step, 0.0, where=ends)
                t -= step
                good = np.abs(step, out=step) <= _SHORT
                if good.all():
                    break
        good &= (t >= 0) & (t <= 1)
        if not good.all():
            t[~good] = self._bracketed(shares[~good])
        return t

    def _bracketed(self, shares: Array) -> Array:
        """Parameters by Newton's method, halving the bracket where a step would leave it or is slow."""
        low, high = np.zeros_like(shares), np.ones_like(shares)
        t, moved = shares.copy(), np.ones_like(shares)
        done = np.zeros(shares.shape, dtype=np.bool_)
        with np.errstate(divide="ignore", invalid="ignore"):
            while not done.all():
                excess = self._x.at(t) - shares
                low, high = np.where(excess <= 0, t, low), np.where(excess >= 0, t, high)
                step = excess / self._x.slope(t)
                usable = (t - step > low) & (t - step < high) & (np.abs(step) <= 0.5 * np.abs(moved))
                following = np.where(usable, t - step, 0.5 * (low + high))
                moved = following - t
                t = np.where(done, t, following)
                done |= (high - low <= _LAST_BIT) | (np.abs(moved) <= _LAST_BIT)
        return t


class Coordinate:
    """One coordinate of a cubic Bezier curve from 0 to 1 with two inner control values.

    With r = 1 - t, 3 r^2 t first + 3 r t^2 second + t^3 = t + r t (p + q t): exactly 0 and 1 at the ends in
    floating point, and exactly t for the straight line.
    """

    def __init__(self, first: float, second: float) -> None:
        self._p, self._q = 3 * first - 1, 3 * (second - first) - 1
        self._linear, self._square = 2 * (self._q - self._p), -3 * self._q

    def at(self, t: Array) -> Array:
        """The values at parameters t."""
        inner = t * self._q
        inner += self._p
        inner *= t
        outer = 1.0 - t
        outer *= inner
        outer += t
        return outer

    def slope(self, t: Array) -> Array:
        """The derivatives by t."""
        value = t * self._square
        value += self._linear
        value *= t
        value += 1 + self._p
        return value
