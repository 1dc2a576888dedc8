// The skin on the graphics card: posed, drawn, picked and read back.

import { writeProduct } from "./algebra.js";
import { attribute, linked, listTexture, pictureTexture, plainTexture, relisted, rowsFor } from "./graphics.js";
import { writeMotion } from "./rigid-motions.js";
import {
  GROUND_FRAGMENT, GROUND_VERTEX, NORMAL, NOTHING, PICK_FRAGMENT, PICK_VERTEX, POSE, QUARTERS, SHADE_FRAGMENT, SHADE_VERTEX,
  WHOLE_TARGET,
} from "./shaders.js";

const UNITS = {
  frame: 0, influenceList: 1, offsetList: 2, posedPlaces: 3, rings: 4, detailMaps: 5, picture: 6,
  mask0: 7, mask1: 8, mask2: 9, mask3: 10, mask4: 11, mask5: 12, mask6: 13, mask7: 14, normals: 15,
};
const MASKS = 8;
const WIDTH = 2048;

export class Skin {
  /** Everything that the card needs of the skin. `lists`: of `skin-lists.js`. Throws where the card refuses. */
  constructor(gl, record, lists) {
    Object.assign(this, { gl, record, lists });
    this.dual = record.skinning === "dual quaternion";
    this.stride = this.dual ? 5 : 3;
    this.amounts = this.stride * record.skin.binds.length;
    this.frameRows = rowsFor(this.amounts + record.skin.columns.length);
    this.frame = new Float32Array(4 * WIDTH * this.frameRows);
    this.folds = new Float32Array(4 * MASKS);
    this.matrix = new Float64Array(12);
    this.poseProgram = linked(gl, POSE, NOTHING, UNITS, ["posed"]);
    this.normalProgram = linked(gl, NORMAL, NOTHING, UNITS, ["normal"]);
    this.shadeProgram = linked(gl, SHADE_VERTEX, SHADE_FRAGMENT, UNITS);
    this.groundProgram = linked(gl, GROUND_VERTEX, GROUND_FRAGMENT, UNITS);
    this.fill();
  }

  fill() {
    const { gl, lists } = this;
    listTexture(gl, UNITS.frame, gl.RGBA32F, gl.RGBA, gl.FLOAT, this.frameRows, null);
    listTexture(gl, UNITS.influenceList, gl.RG16UI, gl.RG_INTEGER, gl.UNSIGNED_SHORT, lists.influences.rows, lists.influences.list);
    listTexture(gl, UNITS.offsetList, gl.RGBA16I, gl.RGBA_INTEGER, gl.SHORT, lists.offsetLists.rows, lists.offsetLists.list);
    listTexture(gl, UNITS.rings, gl.RG32UI, gl.RG_INTEGER, gl.UNSIGNED_INT, lists.rings.rows, lists.rings.list);
    this.rows = rowsFor(lists.count);
    for (const unit of [UNITS.posedPlaces, UNITS.normals]) listTexture(gl, unit, gl.RGBA32F, gl.RGBA, gl.FLOAT, this.rows, null);
    plainTexture(gl, UNITS.detailMaps, [128, 128, 128, 128]);
    for (let mask = 0; mask < MASKS; mask += 1) plainTexture(gl, UNITS.mask0 + mask, [0, 0, 0, 0]);
    this.posing = gl.createVertexArray();
    gl.bindVertexArray(this.posing);
    attribute(gl, 0, lists.positions, 3);
    attribute(gl, 1, lists.influences.starts, 2, { whole: true });
    attribute(gl, 2, lists.offsetLists.starts, 2, { whole: true });
    this.shading = gl.createVertexArray();
    gl.bindVertexArray(this.shading);
    attribute(gl, 0, lists.rings.starts, 2, { whole: true });
    this.mapPlaces = attribute(gl, 1, new Float32Array(2 * lists.count), 2);
    this.maskPlaces = attribute(gl, 2, new Float32Array(2 * lists.count), 2);
    this.heat = attribute(gl, 3, new Uint8Array(lists.count), 1, { share: true, usage: gl.DYNAMIC_DRAW });
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, lists.triangles, gl.STATIC_DRAW);
    this.indexKind = lists.triangles.BYTES_PER_ELEMENT === 4 ? gl.UNSIGNED_INT : gl.UNSIGNED_SHORT;
    gl.bindVertexArray(null);
    this.posed = this.captured();
    this.summed = this.captured();
    gl.enable(gl.DEPTH_TEST);
  }

  /** A buffer for four numbers of each vertex, with what writes into it. */
  captured() {
    const { gl } = this, buffer = gl.createBuffer(), feedback = gl.createTransformFeedback();
    gl.bindBuffer(gl.TRANSFORM_FEEDBACK_BUFFER, buffer);
    gl.bufferData(gl.TRANSFORM_FEEDBACK_BUFFER, 16 * WIDTH * this.rows, gl.DYNAMIC_COPY);
    gl.bindBuffer(gl.TRANSFORM_FEEDBACK_BUFFER, null);
    gl.bindTransformFeedback(gl.TRANSFORM_FEEDBACK, feedback);
    gl.bindBufferBase(gl.TRANSFORM_FEEDBACK_BUFFER, 0, buffer);
    gl.bindTransformFeedback(gl.TRANSFORM_FEEDBACK, null);
    return { buffer, feedback };
  }

  /** Runs a program for every vertex and puts what it gives into a buffer, and from there into a texture. */
  capture({ program }, array, { buffer, feedback }, unit) {
    const { gl } = this;
    gl.useProgram(program);
    gl.bindVertexArray(array);
    gl.enable(gl.RASTERIZER_DISCARD);
    gl.bindTransformFeedback(gl.TRANSFORM_FEEDBACK, feedback);
    gl.beginTransformFeedback(gl.POINTS);
    gl.drawArrays(gl.POINTS, 0, this.lists.count);
    gl.endTransformFeedback();
    gl.bindTransformFeedback(gl.TRANSFORM_FEEDBACK, null);
    gl.disable(gl.RASTERIZER_DISCARD);
    gl.bindBuffer(gl.PIXEL_UNPACK_BUFFER, buffer);
    relisted(gl, unit, gl.RGBA, gl.FLOAT, this.rows, 0);
    gl.bindBuffer(gl.PIXEL_UNPACK_BUFFER, null);
  }

  /** Shows a detail: its maps and masks as pictures, `null` for what is not there, and where they lie on the skin. */
  wear(detail, maps, masks) {
    const { gl, lists } = this;
    this.reoriented = detail.mixing === "reoriented";
    for (const [buffer, set] of [[this.mapPlaces, detail.uv], [this.maskPlaces, detail.masks_uv]]) {
      gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
      gl.bufferData(gl.ARRAY_BUFFER, lists.uv[set], gl.STATIC_DRAW);
    }
    if (maps) this.quartered(maps);
    masks.forEach((picture, mask) => pictureTexture(gl, UNITS.mask0 + mask, picture));
  }

  quartered(maps) {
    const { gl } = this, size = maps.width / 2, texture = gl.createTexture(), target = gl.createFramebuffer();
    const { program } = linked(gl, WHOLE_TARGET, QUARTERS, UNITS);
    pictureTexture(gl, UNITS.picture, maps, false);
    gl.activeTexture(gl.TEXTURE0 + UNITS.detailMaps);
    gl.bindTexture(gl.TEXTURE_2D, texture);
    gl.texStorage2D(gl.TEXTURE_2D, Math.floor(Math.log2(size)) + 1, gl.RGBA8, size, size);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.LINEAR_MIPMAP_LINEAR);
    gl.bindFramebuffer(gl.FRAMEBUFFER, target);
    gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, gl.TEXTURE_2D, texture, 0);
    gl.useProgram(program);
    gl.viewport(0, 0, size, size);
    gl.disable(gl.DEPTH_TEST);
    gl.bindVertexArray(null);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
    gl.enable(gl.DEPTH_TEST);
    gl.bindFramebuffer(gl.FRAMEBUFFER, null);
    gl.deleteFramebuffer(target);
    gl.generateMipmap(gl.TEXTURE_2D);
  }

  /** Poses the skin: joint matrices in model space, and how much there is of each column of offsets. */
  pose(globals, amounts) {
    const { gl, record, lists, frame, matrix } = this;
    record.skin.binds.forEach((joint, bind) => {
      if (this.dual) {
        writeProduct(matrix, 0, globals, 12 * joint, lists.inverses, 12 * bind);
        writeMotion(frame, 20 * bind, matrix, 0);
      } else {
        writeProduct(frame, 12 * bind, globals, 12 * joint, lists.inverses, 12 * bind);
      }
    });
    record.skin.columns.forEach(([, step], column) => { frame[4 * (this.amounts + column)] = amounts[column] * step; });
    relisted(gl, UNITS.frame, gl.RGBA, gl.FLOAT, this.frameRows, frame);
    gl.useProgram(this.poseProgram.program);
    gl.uniform1i(this.poseProgram.at.amounts, this.amounts);
    gl.uniform1i(this.poseProgram.at.dual, this.dual ? 1 : 0);
    this.capture(this.poseProgram, this.posing, this.posed, UNITS.posedPlaces);
    this.capture(this.normalProgram, this.shading, this.summed, UNITS.normals);
  }

  /** One byte for each vertex: how far along the scale it is shown. */
  tell(bytes) {
    const { gl } = this;
    gl.bindBuffer(gl.ARRAY_BUFFER, this.heat);
    gl.bufferSubData(gl.ARRAY_BUFFER, 0, bytes);
  }

  /** Draws the skin as it was posed last. look: colouring, scale (five colours), clay, ground colour, depth of detail. */
  draw(camera, look) {
    const { gl } = this, { width, height } = gl.canvas, view = camera.matrix(width, height);
    gl.viewport(0, 0, width, height);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    const { program, at } = this.shadeProgram;
    gl.useProgram(program);
    gl.uniformMatrix4fv(at.view, false, view);
    gl.uniform3fv(at.eye, camera.eye());
    gl.uniform1i(at.colouring, look.colouring);
    gl.uniform1f(at.depth, look.depth);
    gl.uniform1i(at.reoriented, this.reoriented ? 1 : 0);
    gl.uniform3fv(at.clay, look.clay);
    gl.uniform3fv(at.scale, look.scale);
    gl.uniform4fv(at.folds, look.folds ?? this.folds);
    gl.bindVertexArray(this.shading);
    gl.drawElements(gl.TRIANGLES, this.lists.triangles.length, this.indexKind, 0);
    this.drawGround(view, look);
  }

  drawGround(view, { ground, shade }) {
    const { gl } = this, { program, at } = this.groundProgram;
    gl.useProgram(program);
    gl.uniformMatrix4fv(at.view, false, view);
    gl.uniform4fv(at.ground, ground);
    gl.uniform3fv(at.shade, shade);
    gl.bindVertexArray(null);
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    gl.depthMask(false);
    gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
    gl.depthMask(true);
    gl.disable(gl.BLEND);
  }

  /** The vertex at a pixel of the picture, -1 where there is none. */
  pick(camera, x, y) {
    const { gl } = this, { width, height } = gl.canvas;
    this.pickProgram ??= linked(gl, PICK_VERTEX, PICK_FRAGMENT, UNITS);   // nobody waits for it before a first click
    const { program, at } = this.pickProgram;
    this.target ??= this.pickTarget();
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.target);
    gl.useProgram(program);
    gl.viewport(0, 0, 1, 1);
    gl.clearBufferuiv(gl.COLOR, 0, [0, 0, 0, 0]);
    gl.clear(gl.DEPTH_BUFFER_BIT);
    gl.uniformMatrix4fv(at.view, false, camera.matrix(width, height, [x, y]));
    gl.bindVertexArray(this.shading);
    gl.drawElements(gl.TRIANGLES, this.lists.triangles.length, this.indexKind, 0);
    const found = new Uint32Array(4);
    gl.readPixels(0, 0, 1, 1, gl.RGBA_INTEGER, gl.UNSIGNED_INT, found);
    gl.bindFramebuffer(gl.FRAMEBUFFER, null);
    return found[0] - 1;
  }

  pickTarget() {
    const { gl } = this, target = gl.createFramebuffer();
    gl.bindFramebuffer(gl.FRAMEBUFFER, target);
    for (const [place, kind] of [[gl.COLOR_ATTACHMENT0, gl.R32UI], [gl.DEPTH_ATTACHMENT, gl.DEPTH_COMPONENT24]]) {
      const kept = gl.createRenderbuffer();
      gl.bindRenderbuffer(gl.RENDERBUFFER, kept);
      gl.renderbufferStorage(gl.RENDERBUFFER, kind, 1, 1);
      gl.framebufferRenderbuffer(gl.FRAMEBUFFER, place, gl.RENDERBUFFER, kept);
    }
    return target;
  }

  /** Posed places (x, y, z, and how far shapes move it) of all vertices, or of one. */
  places(vertex) {
    return this.readBack(this.posed, vertex);
  }

  /** Normals (x, y, z, 0) of all vertices, or of one. */
  normals(vertex) {
    return this.readBack(this.summed, vertex);
  }

  readBack({ buffer }, vertex) {
    const { gl } = this, found = new Float32Array(4 * (vertex === undefined ? this.lists.count : 1));
    gl.bindBuffer(gl.COPY_READ_BUFFER, buffer);
    gl.getBufferSubData(gl.COPY_READ_BUFFER, 16 * (vertex ?? 0), found);
    gl.bindBuffer(gl.COPY_READ_BUFFER, null);
    return found;
  }
}
