// The page's data: one block of bytes, deflated and in base64, that `plica.sheet.array_pack` made.

const KINDS = { u8: Uint8Array, u16: Uint16Array, i16: Int16Array, u32: Uint32Array, f32: Float32Array };

/** The text of an element that holds data. */
export function textOf(id) {
  return document.getElementById(id).textContent;
}

// Characters of base64 that are decoded and inflated at a time: four to three bytes, so none is cut.
const PIECE = 1 << 18;

/** The block as it is inflated: what stands at its beginning can be read before the rest is there. */
export class Block {
  /** `record`: where everything stands in the block. */
  constructor(base64, { arrays, files }) {
    this.bytes = new Uint8Array(Math.max(0, ...Object.values(arrays).map(endOf), ...Object.values(files).map(endOf)));
    this.filled = 0;
    const { readable, writable } = new DecompressionStream("deflate-raw");
    this.reader = readable.getReader();
    feed(writable.getWriter(), base64.trim());
  }

  /** The bytes, once so many of them are there; all of them where none is said. */
  async reached(end = this.bytes.length) {
    while (this.filled < end) {
      const { value, done } = await this.reader.read();
      if (done) throw new Error("the data of the page end too soon");
      this.bytes.set(value, this.filled);
      this.filled += value.length;
    }
    return this.bytes;
  }
}

/** Gives a stream as much as it asks for; what goes wrong is told to whoever reads it. */
async function feed(writer, base64) {
  try {
    for (let from = 0; from < base64.length; from += PIECE) {
      await writer.ready;
      writer.write(octets(base64.slice(from, from + PIECE))).catch(() => {});
    }
    await writer.close();
  } catch (error) {
    writer.abort(error).catch(() => {});
  }
}

function octets(base64) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(base64);
  const text = atob(base64), bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i += 1) bytes[i] = text.charCodeAt(i);
  return bytes;
}

/** Where an array or a file ends in the block. */
export function endOf({ at, size, kind, width, rows }) {
  return at + (size ?? KINDS[kind].BYTES_PER_ELEMENT * width * rows);
}

/**
 * An array of the block: whole numbers column by column, byte plane by byte plane, as differences from row to row.
 * `room`: how many numbers the result has place for, where it needs more than there are.
 */
export function unpacked(block, { at, kind, width, rows }, room = width * rows) {
  const result = new KINDS[kind](room), size = result.BYTES_PER_ELEMENT;
  if (kind === "f32") {
    new Uint8Array(result.buffer).set(block.subarray(at, at + size * width * rows));
    return result;
  }
  const plane = (number) => block.subarray(at + number * rows, at + (number + 1) * rows);
  for (let column = 0; column < width; column += 1) {
    const planes = Array.from({ length: size }, (_, number) => plane(size * column + number));
    SUMMED[size](result, column, width, ...planes);
  }
  return result;
}

// One loop for each size, each over few kinds of arrays: they run once, before anything is known of them.
const SUMMED = {
  1: (result, to, width, low) => {
    for (let row = 0, value = 0; row < low.length; row += 1, to += width) {
      value = (value + low[row]) | 0;
      result[to] = value;
    }
  },
  2: (result, to, width, low, high) => {
    for (let row = 0, value = 0; row < low.length; row += 1, to += width) {
      value = (value + (low[row] | (high[row] << 8))) | 0;
      result[to] = value;
    }
  },
  4: (result, to, width, low, second, third, high) => {
    for (let row = 0, value = 0; row < low.length; row += 1, to += width) {
      value = (value + (low[row] | (second[row] << 8) | (third[row] << 16) | (high[row] << 24))) | 0;
      result[to] = value;
    }
  },
};

/** A file of the block, decoded as it is stored: no colours converted, no alpha multiplied in. */
export function bitmapOf(block, { at, size, type }) {
  const content = new Blob([block.subarray(at, at + size)], { type });
  return createImageBitmap(content, { premultiplyAlpha: "none", colorSpaceConversion: "none" });
}
