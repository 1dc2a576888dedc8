// Curves through points, as the language's `curve` with points makes them: the monotone cubic of Fritsch and Carlson
// (SIAM J. Numer. Anal. 17, 1980), with the one-sided differences of Fritsch and Butland (1984) at its ends.

/** Points out of a text such as `0 0, 0.5 0.35, 1 1`; null where it says no curve. */
export function pointsOf(text) {
  const points = text.split(",").map((pair) => pair.trim().split(/\s+/).map(Number));
  const sound = points.length > 1 && points.every((pair) => pair.length === 2 && pair.every(Number.isFinite))
    && points[0][0] === 0 && points.at(-1)[0] === 1 && points.every(([x], i) => i === 0 || x > points[i - 1][0]);
  return sound ? points : null;
}

/** The curve through points, from a share of the span to a strength, both kept to 0..1. */
export function curveThrough(points) {
  const slopes = slopesOf(points), inside = (value) => Math.min(Math.max(value, 0), 1);
  return (share) => {
    const x = inside(share);
    let i = points.findIndex(([end]) => end >= x);
    i = Math.max(i, 1);
    const [x0, y0] = points[i - 1], [x1, y1] = points[i], step = x1 - x0, t = (x - x0) / step, r = 1 - t;
    return inside((1 + 2 * t) * r * r * y0 + t * r * r * step * slopes[i - 1] + t * t * (3 - 2 * t) * y1 - t * t * r * step * slopes[i]);
  };
}

function slopesOf(points) {
  const steps = points.slice(1).map(([x], i) => x - points[i][0]);
  const secants = points.slice(1).map(([, y], i) => (y - points[i][1]) / steps[i]);
  if (secants.length === 1) return [secants[0], secants[0]];
  const slopes = points.map((_, i) => {
    if (i === 0 || i === secants.length || secants[i - 1] * secants[i] <= 0) return 0;
    return (steps[i] * secants[i - 1] + steps[i - 1] * secants[i]) / (steps[i - 1] + steps[i]);
  });
  slopes[0] = endSlope(steps[0], steps[1], secants[0], secants[1]);
  slopes[slopes.length - 1] = endSlope(steps.at(-1), steps.at(-2), secants.at(-1), secants.at(-2));
  secants.forEach((secant, i) => {
    if (secant === 0) { slopes[i] = slopes[i + 1] = 0; return; }
    const size = Math.hypot(slopes[i] / secant, slopes[i + 1] / secant);
    if (size > 3) { slopes[i] *= 3 / size; slopes[i + 1] *= 3 / size; }
  });
  return slopes;
}

function endSlope(near, far, secant, next) {
  const slope = ((2 * near + far) * secant - near * next) / (near + far);
  if (slope * secant <= 0) return 0;
  return secant * next <= 0 && Math.abs(slope) > 3 * Math.abs(secant) ? 3 * secant : slope;
}
