// Affine matrices as a rigid motion, a unit dual quaternion, after a stretch (Kavan and others, "Skinning with Dual
// Quaternions", 2007); the stretch by polar decomposition (Higham, "Computing the Polar Decomposition", 1986).

import { cross } from "./algebra.js";

const ROUNDS = 30;

/** Writes real (4), dual (4) and the three rows of the stretch (4 each, the last 0) of a matrix: 20 numbers. */
export function writeMotion(out, to, matrix, at) {
  const rows = [0, 4, 8].map((row) => [matrix[at + row], matrix[at + row + 1], matrix[at + row + 2]]);
  const rotation = nearestRotation(rows);
  const real = quaternionOf(rotation), moved = [3, 7, 11].map((place) => matrix[at + place]);
  const [x, y, z, w] = real, [a, b, c] = moved;
  out.set(real, to);
  out.set([a * w + b * z - c * y, b * w + c * x - a * z, c * w + a * y - b * x, -(a * x + b * y + c * z)].map((v) => 0.5 * v), to + 4);
  for (let i = 0; i < 3; i += 1) {
    for (let j = 0; j < 3; j += 1) {
      out[to + 8 + 4 * i + j] = rotation[0][i] * rows[0][j] + rotation[1][i] * rows[1][j] + rotation[2][i] * rows[2][j];
    }
    out[to + 11 + 4 * i] = 0;
  }
}

/** The rotation of a polar decomposition; where the determinant is negative the stretch takes the sign. */
function nearestRotation(rows) {
  let found = rows;
  for (let round = 0; round < ROUNDS; round += 1) {
    const adjoint = [cross(found[1], found[2]), cross(found[2], found[0]), cross(found[0], found[1])];
    const determinant = found[0].reduce((sum, value, i) => sum + value * adjoint[0][i], 0);
    if (!determinant) break;
    const next = found.map((row, i) => row.map((value, j) => 0.5 * (value + adjoint[i][j] / determinant)));
    const change = Math.max(...next.map((row, i) => Math.max(...row.map((value, j) => Math.abs(value - found[i][j])))));
    found = next;
    if (change < 1e-14) break;
  }
  const sign = found[0].reduce((sum, value, i) => sum + value * cross(found[1], found[2])[i], 0) < 0 ? -1 : 1;
  return found.map((row) => row.map((value) => sign * value));
}

/** The quaternion of a rotation matrix (rows): from its largest part, so that nothing cancels. */
function quaternionOf([[a, b, c], [d, e, f], [g, h, i]]) {
  const squares = [1 + a - e - i, 1 - a + e - i, 1 - a - e + i, 1 + a + e + i];
  const largest = squares.indexOf(Math.max(...squares));
  const rows = [
    [squares[0], b + d, g + c, h - f],
    [b + d, squares[1], f + h, c - g],
    [g + c, f + h, squares[2], d - b],
    [h - f, c - g, d - b, squares[3]],
  ][largest];
  const size = Math.hypot(...rows);
  return rows.map((part) => part / size);
}
