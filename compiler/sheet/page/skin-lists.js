// From the block's arrays to what the card reads: lists of offsets and neighbours, vertex by vertex.

import { endOf, unpacked } from "./unpacking.js";
import { rowsFor } from "./graphics.js";

const WIDTH = 2048;
// What a first picture needs; it stands at the beginning of the block.
const NEUTRAL = ["positions", "joints", "weights", "triangles", "copies", "inverses"];

/** How much of the block has to be there for the skin without shapes and maps. */
export const neutralEnd = ({ arrays }) => Math.max(...NEUTRAL.map((name) => endOf(arrays[name])));

/** The arrays of the skin, made once; a lost card is filled from them again. */
export class SkinLists {
  /** What the skin without shapes and maps is made of. */
  constructor(record, block) {
    const { skin } = record, array = (name, room) => unpacked(block, record.arrays[name], room), count = skin.vertices;
    const perVertex = record.arrays.weights.width, weightRows = rowsFor(perVertex * count);
    const triangles = array("triangles"), copies = array("copies"), points = new Uint32Array(count);
    for (let vertex = 0; vertex < count; vertex += 1) points[vertex] = vertex;
    for (let i = 0; i < copies.length; i += 2) points[copies[i]] = copies[i + 1];
    Object.assign(this, {
      count, triangles, points, perVertex, weightRows,
      positions: array("positions"),
      joints: array("joints", WIDTH * weightRows),
      weights: array("weights", WIDTH * weightRows),
      inverses: array("inverses"),
      rings: ringLists(triangles, points, count),
    });
  }

  /** All the rest. */
  complete(record, block, array = (name) => unpacked(block, record.arrays[name])) {
    const { skin } = record;
    this.offsets = { vertices: array("offset vertices"), steps: array("offsets") };
    this.offsetLists = offsetLists(this.offsets, skin.columns, this.count);
    this.uv = Object.values(skin.uv).map(([low, step], number) => stepped(array(`uv ${number}`), low, step));
    this.regions = regionsOf(skin.regions, array("region vertices"), array("region weights"));
  }
}

/** Whole steps as numbers. */
function stepped(values, low, step) {
  const width = low.length, result = new Float32Array(values.length);
  for (let axis = 0; axis < width; axis += 1) {
    const first = low[axis], size = step[axis];
    for (let i = axis; i < values.length; i += width) result[i] = first + size * values[i];
  }
  return result;
}

/** Where each vertex's entries begin and how many they are, from how many each has. */
function starts(counts) {
  const result = new Uint32Array(2 * counts.length);
  let next = 0;
  for (let vertex = 0; vertex < counts.length; vertex += 1) {
    result[2 * vertex] = next;
    result[2 * vertex + 1] = counts[vertex];
    next += counts[vertex];
  }
  return { result, total: next };
}

/** For each vertex the offsets of all columns that move it. */
export function offsetLists({ vertices, steps }, columns, count) {
  const counts = new Uint32Array(count);
  for (let row = 0; row < vertices.length; row += 1) counts[vertices[row]] += 1;
  const { result, total } = starts(counts), next = nexts(result, count);
  const list = new Int16Array(4 * WIDTH * rowsFor(total));
  let row = 0;
  columns.forEach(([size], column) => {
    for (const stop = row + size; row < stop; row += 1) {
      const to = 4 * next[vertices[row]]++;
      list[to] = steps[3 * row]; list[to + 1] = steps[3 * row + 1]; list[to + 2] = steps[3 * row + 2]; list[to + 3] = column;
    }
  });
  return { starts: result, list, rows: rowsFor(total) };
}

/** For each vertex the two other corners of every triangle at its point; copies of a point share them. */
function ringLists(triangles, points, count) {
  const counts = new Uint32Array(count);
  for (let i = 0; i < triangles.length; i += 1) counts[points[triangles[i]]] += 1;
  const { result, total } = starts(counts), next = nexts(result, count);
  const list = new Uint32Array(2 * WIDTH * rowsFor(total));
  for (let i = 0; i < triangles.length; i += 3) {
    const a = triangles[i], b = triangles[i + 1], c = triangles[i + 2];
    let to = 2 * next[points[a]]++;
    list[to] = b; list[to + 1] = c;
    to = 2 * next[points[b]]++;
    list[to] = c; list[to + 1] = a;
    to = 2 * next[points[c]]++;
    list[to] = a; list[to + 1] = b;
  }
  for (let vertex = 0; vertex < count; vertex += 1) {
    result[2 * vertex] = result[2 * points[vertex]];
    result[2 * vertex + 1] = result[2 * points[vertex] + 1];
  }
  return { starts: result, list, rows: rowsFor(total) };
}

/** The place of each vertex's next entry. */
function nexts(starts, count) {
  const next = new Uint32Array(count);
  for (let vertex = 0; vertex < count; vertex += 1) next[vertex] = starts[2 * vertex];
  return next;
}

/** Vertices and weights of each region by its name. */
export function regionsOf(named, vertices, weights) {
  const result = new Map();
  let from = 0;
  for (const [name, size] of named) {
    result.set(name, { vertices: vertices.subarray(from, from + size), weights: weights.subarray(from, from + size) });
    from += size;
  }
  return result;
}
