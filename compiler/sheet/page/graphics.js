// Small helpers around WebGL 2: programs, buffers and textures.

/**
 * A program. It is begun when it is made, and nobody asks for it before its first use: cards compile aside meanwhile.
 * `units`: the texture unit of each sampler, by its name; `captured`: what goes back into a buffer.
 */
export class Program {
  constructor(gl, vertex, fragment, units, captured) {
    Object.assign(this, { gl, units, program: gl.createProgram() });
    this.shaders = [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]].map(([kind, source]) => {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, source);
      gl.compileShader(shader);
      gl.attachShader(this.program, shader);
      return shader;
    });
    if (captured) gl.transformFeedbackVaryings(this.program, captured, gl.INTERLEAVED_ATTRIBS);
    gl.linkProgram(this.program);
  }

  /** Makes it the one that is used, and gives the places of its uniforms. Throws where the card refuses it. */
  use() {
    if (!this.at) this.finish();
    this.gl.useProgram(this.program);
    return this.at;
  }

  finish() {
    const { gl, program, shaders, units } = this;
    if (!gl.getProgramParameter(program, gl.LINK_STATUS) && !gl.isContextLost()) {
      throw new Error([gl.getProgramInfoLog(program), ...shaders.map((one) => gl.getShaderInfoLog(one))].join(" "));
    }
    this.at = {};
    const count = gl.getProgramParameter(program, gl.ACTIVE_UNIFORMS) ?? 0;
    for (let i = 0; i < count; i += 1) {
      const { name } = gl.getActiveUniform(program, i);
      this.at[name.replace("[0]", "")] = gl.getUniformLocation(program, name);
    }
    gl.useProgram(program);
    for (const [name, unit] of Object.entries(units)) if (this.at[name]) gl.uniform1i(this.at[name], unit);
  }
}

/** A buffer of vertices for one place of a vertex shader. `whole`: whole numbers; `share`: 0..255 means 0..1. */
export function attribute(gl, location, data, width, { whole = false, share = false, usage = gl.STATIC_DRAW } = {}) {
  const kinds = { Float32Array: gl.FLOAT, Uint8Array: gl.UNSIGNED_BYTE, Uint16Array: gl.UNSIGNED_SHORT, Uint32Array: gl.UNSIGNED_INT };
  const buffer = gl.createBuffer(), kind = kinds[data.constructor.name];
  gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
  gl.bufferData(gl.ARRAY_BUFFER, data, usage);
  gl.enableVertexAttribArray(location);
  if (whole) gl.vertexAttribIPointer(location, width, kind, 0, 0);
  else gl.vertexAttribPointer(location, width, kind, share, 0, 0);
  return buffer;
}

/** A buffer of four numbers for each vertex that is there already, for one place of a vertex shader. */
export function attributeFrom(gl, location, buffer) {
  gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
  gl.enableVertexAttribArray(location);
  gl.vertexAttribPointer(location, 4, gl.FLOAT, false, 0, 0);
}

const WIDTH = 2048;
/** How many rows of a texture a list of so many entries takes. */
export const rowsFor = (count) => Math.max(1, Math.ceil(count / WIDTH));

/** Makes a texture unit the active one, and forgets the texture that it held. */
export function emptied(gl, unit) {
  gl.activeTexture(gl.TEXTURE0 + unit);
  gl.deleteTexture(gl.getParameter(gl.TEXTURE_BINDING_2D));
}

/** A texture that is read as a list, `WIDTH` entries in a row. `data` fills whole rows, or is null. */
export function listTexture(gl, unit, inner, format, type, rows, data) {
  const texture = gl.createTexture();
  emptied(gl, unit);
  gl.bindTexture(gl.TEXTURE_2D, texture);
  gl.texStorage2D(gl.TEXTURE_2D, 1, inner, WIDTH, rows);
  if (data) gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, 0, WIDTH, rows, format, type, data);
  for (const side of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, side, gl.NEAREST);
  return texture;
}

/** Writes new entries over the whole of a list. */
export function relisted(gl, unit, format, type, rows, data) {
  gl.activeTexture(gl.TEXTURE0 + unit);
  gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, 0, WIDTH, rows, format, type, data);
}

/** A picture as a texture with all its levels. */
export function pictureTexture(gl, unit, source, smooth = true) {
  emptied(gl, unit);
  gl.bindTexture(gl.TEXTURE_2D, gl.createTexture());
  gl.pixelStorei(gl.UNPACK_PREMULTIPLY_ALPHA_WEBGL, false);
  gl.pixelStorei(gl.UNPACK_COLORSPACE_CONVERSION_WEBGL, gl.NONE);
  gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA8, gl.RGBA, gl.UNSIGNED_BYTE, source);
  if (smooth) gl.generateMipmap(gl.TEXTURE_2D);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, smooth ? gl.LINEAR_MIPMAP_LINEAR : gl.NEAREST);
}

/** A texture of one colour, until a picture is there. */
export function plainTexture(gl, unit, values) {
  emptied(gl, unit);
  gl.bindTexture(gl.TEXTURE_2D, gl.createTexture());
  gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA8, 1, 1, 0, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array(values));
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.NEAREST);
}
