// What the skin is coloured by, one byte for each vertex, and the scales.

// Sequential: five colours of cividis (Nunez, Anderton, Renslow, "Optimizing colormaps with consideration for color vision
// deficiency", PLoS ONE 13(7), 2018). Diverging: the five classes of PuOr (Brewer, ColorBrewer 2.0, safe for colour
// vision deficiency). Both from memory.
const hex = (text) => [1, 3, 5].map((place) => parseInt(text.slice(place, place + 2), 16) / 255);
export const SEQUENTIAL = ["#00204d", "#414d6b", "#7c7b78", "#bcaf6f", "#ffea46"];
export const DIVERGING = ["#5e3c99", "#b2abd2", "#f7f7f7", "#fdb863", "#e66101"];
export const scaleOf = (names) => new Float32Array(names.flatMap(hex));

export const FULL_STRETCH = 0.5;

/** A region's weights. */
export function regionBytes(count, region) {
  const bytes = new Uint8Array(count);
  region?.vertices.forEach((vertex, row) => { bytes[vertex] = region.weights[row]; });
  return bytes;
}

/** How far a shape's own offsets go at full strength, as a share of its largest; and that, in metres. */
export function shapeBytes(count, lists, columns, { column }) {
  const bytes = new Uint8Array(count), { vertices, steps } = lists.offsets;
  let from = 0;
  for (let before = 0; before < column; before += 1) from += columns[before][0];
  const [size, step] = columns[column];
  const lengths = Array.from({ length: size }, (_, row) => step * Math.hypot(...steps.subarray(3 * (from + row), 3 * (from + row) + 3)));
  const largest = Math.max(...lengths, 1e-12);
  lengths.forEach((length, row) => { bytes[vertices[from + row]] = Math.max(length > 0 ? 1 : 0, Math.round(255 * length / largest)); });
  return { bytes, largest };
}

/** Some vertices and no others. */
export function listedBytes(count, vertices) {
  const bytes = new Uint8Array(count);
  for (const vertex of vertices) bytes[vertex] = 255;
  return bytes;
}

/**
 * How the posed skin is stretched (above the middle) or squeezed (below) against the neutral one: at each vertex the
 * largest of its triangles. Of a triangle's two principal stretches, square roots of the eigenvalues of the posed against
 * the neutral metric, the one further from 1 counts. Places are x, y, z and one more number.
 */
export function stretchBytes(count, { triangles, points }, rest, posed) {
  const most = new Float32Array(count), bytes = new Uint8Array(count);
  for (let i = 0; i < triangles.length; i += 3) {
    const a = triangles[i], b = triangles[i + 1], c = triangles[i + 2];
    const figure = principal(metric(rest, a, b, c), metric(posed, a, b, c));
    for (const corner of [points[a], points[b], points[c]]) {
      if (Math.abs(figure) > Math.abs(most[corner])) most[corner] = figure;
    }
  }
  for (let vertex = 0; vertex < count; vertex += 1) {
    const share = Math.max(-1, Math.min(1, most[points[vertex]] / FULL_STRETCH));
    bytes[vertex] = Math.round(127.5 + 127.5 * share);
  }
  return bytes;
}

function metric(places, a, b, c) {
  const x = places[4 * b] - places[4 * a], y = places[4 * b + 1] - places[4 * a + 1], z = places[4 * b + 2] - places[4 * a + 2];
  const u = places[4 * c] - places[4 * a], v = places[4 * c + 1] - places[4 * a + 1], w = places[4 * c + 2] - places[4 * a + 2];
  return [x * x + y * y + z * z, x * u + y * v + z * w, u * u + v * v + w * w];
}

function principal([a, b, c], [d, e, f]) {
  const area = a * c - b * b;
  if (area < 1e-24) return 0;
  const half = (a * f + c * d - 2 * b * e) / (2 * area), rest = (d * f - e * e) / area;
  const away = Math.sqrt(Math.max(0, half * half - rest));
  const long = Math.sqrt(Math.max(0, half + away)) - 1, short = Math.sqrt(Math.max(0, half - away)) - 1;
  return Math.abs(long) >= Math.abs(short) ? long : short;
}
