// Quaternions x y z w, vectors, and affine matrices as three rows of four in flat arrays.

export const multiply = ([ax, ay, az, aw], [bx, by, bz, bw]) => [
  aw * bx + ax * bw + ay * bz - az * by,
  aw * by - ax * bz + ay * bw + az * bx,
  aw * bz + ax * by - ay * bx + az * bw,
  aw * bw - ax * bx - ay * by - az * bz,
];
export const conjugate = ([x, y, z, w]) => [-x, -y, -z, w];
export const subtract = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const add = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
export const scaled = (a, factor) => [a[0] * factor, a[1] * factor, a[2] * factor];
export const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
export const unit = (a) => scaled(a, 1 / (Math.hypot(...a) || 1));

/** A 3 x 3 matrix, row by row, times a vector. */
export const times = (matrix, [x, y, z]) => [0, 3, 6].map((row) => matrix[row] * x + matrix[row + 1] * y + matrix[row + 2] * z);

/** A quaternion of any length at length 1; `otherwise` where it is null. */
export function normalised(q, otherwise) {
  const size = Math.hypot(...q);
  return size > 0 ? q.map((part) => part / size) : otherwise;
}

/** The even turn from one rotation to another, the shorter way. */
export function between(from, to, share) {
  let cosine = from.reduce((sum, part, i) => sum + part * to[i], 0);
  const end = cosine < 0 ? to.map((part) => -part) : to;
  cosine = Math.min(Math.abs(cosine), 1);
  const angle = Math.acos(cosine), sine = Math.sin(angle);
  const [a, b] = sine > 1e-9 ? [Math.sin((1 - share) * angle) / sine, Math.sin(share * angle) / sine] : [1 - share, share];
  return normalised(from.map((part, i) => a * part + b * end[i]), from);
}

/** Writes T R S (glTF 2.0, section 3.5.3) at `to`. */
export function writeLocal(out, to, [tx, ty, tz], [x, y, z, w], [sx, sy, sz]) {
  out[to] = (1 - 2 * (y * y + z * z)) * sx; out[to + 1] = 2 * (x * y - z * w) * sy; out[to + 2] = 2 * (x * z + y * w) * sz;
  out[to + 3] = tx;
  out[to + 4] = 2 * (x * y + z * w) * sx; out[to + 5] = (1 - 2 * (x * x + z * z)) * sy; out[to + 6] = 2 * (y * z - x * w) * sz;
  out[to + 7] = ty;
  out[to + 8] = 2 * (x * z - y * w) * sx; out[to + 9] = 2 * (y * z + x * w) * sy; out[to + 10] = (1 - 2 * (x * x + y * y)) * sz;
  out[to + 11] = tz;
}

/** Writes the product first x second of two affine matrices. */
export function writeProduct(out, to, first, a, second, b) {
  for (let row = 0; row < 12; row += 4) {
    const x = first[a + row], y = first[a + row + 1], z = first[a + row + 2], moved = first[a + row + 3];
    for (let column = 0; column < 4; column += 1) {
      out[to + row + column] = x * second[b + column] + y * second[b + 4 + column] + z * second[b + 8 + column]
        + (column === 3 ? moved : 0);
    }
  }
}

/** The point (x, y, z, 1) times a 4 x 4 matrix in columns, before the division by w. */
export const projected = (matrix, [x, y, z]) =>
  [0, 1, 2, 3].map((row) => matrix[row] * x + matrix[4 + row] * y + matrix[8 + row] * z + matrix[12 + row]);
