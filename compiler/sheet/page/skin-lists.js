// From the block's arrays to what the card reads: lists of influences, offsets and neighbours, vertex by vertex.

import { unpacked } from "./unpacking.js";
import { rowsFor } from "./graphics.js";

const WIDTH = 2048;

/** The arrays of the skin, made once; a lost card is filled from them again. */
export function skinLists(record, block) {
  const { skin } = record, array = (name) => unpacked(block, record.arrays[name]);
  const count = skin.vertices, positions = stepped(array("positions"), skin.low, skin.step);
  const triangles = array("triangles"), copies = array("copies");
  const points = Uint32Array.from({ length: count }, (_, vertex) => vertex);
  for (let i = 0; i < copies.length; i += 2) points[copies[i]] = copies[i + 1];
  const offsets = { vertices: array("offset vertices"), steps: array("offsets") };
  return {
    count, positions, triangles, points, offsets,
    joints: array("joints"), weights: array("weights"), perVertex: record.arrays.weights.width,
    influences: influenceLists(array("joints"), array("weights"), record.arrays.weights.width, count),
    offsetLists: offsetLists(offsets, skin.columns, count),
    rings: ringLists(triangles, points, count),
    uv: Object.values(skin.uv).map(([low, step], number) => stepped(array(`uv ${number}`), low, step)),
    inverses: array("inverses"),
    regions: regionsOf(skin.regions, array("region vertices"), array("region weights")),
  };
}

/** Whole steps as numbers. */
function stepped(values, low, step) {
  const width = low.length, result = new Float32Array(values.length);
  for (let i = 0; i < values.length; i += 1) result[i] = low[i % width] + step[i % width] * values[i];
  return result;
}

/** Where each vertex's entries begin and how many they are, from how many each has. */
function starts(counts) {
  const result = new Uint32Array(2 * counts.length);
  let next = 0;
  counts.forEach((count, vertex) => { result[2 * vertex] = next; result[2 * vertex + 1] = count; next += count; });
  return { result, total: next };
}

function influenceLists(joints, weights, width, count) {
  const counts = new Uint32Array(count);
  for (let i = 0; i < weights.length; i += 1) if (weights[i]) counts[Math.floor(i / width)] += 1;
  const { result, total } = starts(counts), list = new Uint16Array(2 * WIDTH * rowsFor(total));
  for (let i = 0, to = 0; i < weights.length; i += 1) {
    if (weights[i]) { list[to] = joints[i]; list[to + 1] = weights[i]; to += 2; }
  }
  return { starts: result, list, rows: rowsFor(total) };
}

function offsetLists({ vertices, steps }, columns, count) {
  const counts = new Uint32Array(count);
  for (const vertex of vertices) counts[vertex] += 1;
  const { result, total } = starts(counts), next = new Uint32Array(count);
  const list = new Int16Array(4 * WIDTH * rowsFor(total));
  let row = 0;
  columns.forEach(([size], column) => {
    for (const stop = row + size; row < stop; row += 1) {
      const vertex = vertices[row], to = 4 * (result[2 * vertex] + next[vertex]);
      next[vertex] += 1;
      list[to] = steps[3 * row]; list[to + 1] = steps[3 * row + 1]; list[to + 2] = steps[3 * row + 2]; list[to + 3] = column;
    }
  });
  return { starts: result, list, rows: rowsFor(total) };
}

/** For each vertex the two other corners of every triangle at its point; copies of a point share them. */
function ringLists(triangles, points, count) {
  const counts = new Uint32Array(count);
  for (const vertex of triangles) counts[points[vertex]] += 1;
  const { result, total } = starts(counts), next = new Uint32Array(count);
  const list = new Uint32Array(2 * WIDTH * rowsFor(total));
  for (let i = 0; i < triangles.length; i += 3) {
    for (let corner = 0; corner < 3; corner += 1) {
      const point = points[triangles[i + corner]], to = 2 * (result[2 * point] + next[point]);
      next[point] += 1;
      list[to] = triangles[i + (corner + 1) % 3];
      list[to + 1] = triangles[i + (corner + 2) % 3];
    }
  }
  points.forEach((point, vertex) => {
    result[2 * vertex] = result[2 * point];
    result[2 * vertex + 1] = result[2 * point + 1];
  });
  return { starts: result, list, rows: rowsFor(total) };
}

function regionsOf(named, vertices, weights) {
  const result = new Map();
  let from = 0;
  for (const [name, size] of named) {
    result.set(name, { vertices: vertices.subarray(from, from + size), weights: weights.subarray(from, from + size) });
    from += size;
  }
  return result;
}
