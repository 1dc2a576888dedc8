// The page's data: one block of bytes, deflated and in base64, that `plica.sheet.array_pack` made.

const KINDS = { u8: Uint8Array, u16: Uint16Array, i16: Int16Array, u32: Uint32Array, f32: Float32Array };

/** The text of an element that holds data. */
export function textOf(id) {
  return document.getElementById(id).textContent;
}

/** The bytes of the block. */
export async function blockOf(base64) {
  const text = atob(base64.trim());
  const bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i += 1) bytes[i] = text.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

/** An array of the block: whole numbers column by column, byte plane by byte plane, as differences from row to row. */
export function unpacked(block, { at, kind, width, rows: count }) {
  const result = new KINDS[kind](width * count);
  if (kind === "f32") {
    new Uint8Array(result.buffer).set(block.subarray(at, at + result.byteLength));
    return result;
  }
  const size = result.BYTES_PER_ELEMENT;
  for (let column = 0; column < width; column += 1) {
    const start = at + column * size * count;
    let value = 0;
    for (let row = 0; row < count; row += 1) {
      let step = 0;
      for (let plane = 0; plane < size; plane += 1) step |= block[start + plane * count + row] << (8 * plane);
      value = (value + step) | 0;
      result[row * width + column] = value;
    }
  }
  return result;
}

/** A file of the block, decoded as it is stored: no colours converted, no alpha multiplied in. */
export function bitmapOf(block, { at, size, type }) {
  const content = new Blob([block.subarray(at, at + size)], { type });
  return createImageBitmap(content, { premultiplyAlpha: "none", colorSpaceConversion: "none" });
}
