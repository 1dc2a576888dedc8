// The skin on the graphics card: posed, drawn, picked and read back.

import { writeProduct } from "./algebra.js";
import { attribute, attributeFrom, emptied, listTexture, pictureTexture, plainTexture, Program, relisted, rowsFor } from "./graphics.js";
import { writeMotion } from "./rigid-motions.js";
import {
  GROUND_FRAGMENT, GROUND_VERTEX, NORMAL, NOTHING, PICK_FRAGMENT, PICK_VERTEX, QUARTERS, UV_PLACES, WHOLE_TARGET, poseVertex,
  shadeFragment, shadeVertex,
} from "./shaders.js";

const UNITS = {
  frame: 0, jointList: 1, offsetList: 2, posedPlaces: 3, rings: 4, detailMaps0: 5, picture: 6,
  mask0: 7, mask1: 8, mask2: 9, mask3: 10, mask4: 11, mask5: 12, mask6: 13, mask7: 14, weightList: 15,
  detailMaps1: 16, detailMaps2: 17, detailMaps3: 18,
};
const MASKS = 8;
const WIDTH = 2048;

export class Skin {
  /** Programs are begun, so that they are ready when the skin is. */
  constructor(gl, record) {
    Object.assign(this, { gl, record, replaceable: {} });
    this.dual = record.skinning === "dual quaternion";
    this.stride = this.dual ? 5 : 3;
    this.amounts = this.stride * record.skin.binds.length;
    this.folds = new Float32Array(4 * MASKS);
    this.matrix = new Float64Array(12);
    this.poseProgram = new Program(gl, poseVertex(this.dual), NOTHING, UNITS, ["posed"]);
    this.normalProgram = new Program(gl, NORMAL, NOTHING, UNITS, ["normal"]);
    this.shadeProgram = new Program(gl, shadeVertex(0), shadeFragment([], 0), UNITS);
    this.groundProgram = new Program(gl, GROUND_VERTEX, GROUND_FRAGMENT, UNITS);
  }

  /** The skin without shapes and maps. `lists`: of `skin-lists.js`. */
  fill(lists) {
    const { gl } = this;
    this.lists = lists;
    this.makeRoom();
    const [inner, type] = lists.joints.BYTES_PER_ELEMENT === 2 ? [gl.R16UI, gl.UNSIGNED_SHORT] : [gl.R8UI, gl.UNSIGNED_BYTE];
    listTexture(gl, UNITS.jointList, inner, gl.RED_INTEGER, type, lists.weightRows, lists.joints);
    listTexture(gl, UNITS.weightList, gl.R16UI, gl.RED_INTEGER, gl.UNSIGNED_SHORT, lists.weightRows, lists.weights);
    listTexture(gl, UNITS.rings, gl.RG32UI, gl.RG_INTEGER, gl.UNSIGNED_INT, lists.rings.rows, lists.rings.list);
    this.rows = rowsFor(lists.count);
    listTexture(gl, UNITS.posedPlaces, gl.RGBA32F, gl.RGBA, gl.FLOAT, this.rows, null);
    this.posed = this.captured();
    this.summed = this.captured();
    this.posing = gl.createVertexArray();
    gl.bindVertexArray(this.posing);
    attribute(gl, 0, lists.positions, 3);
    gl.vertexAttribI4ui(5, 0, 0, 0, 0);   // no vertex has offsets yet; of this place no other program takes numbers
    this.summing = gl.createVertexArray();
    gl.bindVertexArray(this.summing);
    attribute(gl, 0, lists.rings.starts, 2, { whole: true });
    this.shading = gl.createVertexArray();
    gl.bindVertexArray(this.shading);
    attributeFrom(gl, 0, this.posed.buffer);
    attributeFrom(gl, 4, this.summed.buffer);
    this.heat = attribute(gl, 3, new Uint8Array(lists.count), 1, { share: true, usage: gl.DYNAMIC_DRAW });
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, lists.triangles, gl.STATIC_DRAW);
    this.indexKind = lists.triangles.BYTES_PER_ELEMENT === 4 ? gl.UNSIGNED_INT : gl.UNSIGNED_SHORT;
    gl.bindVertexArray(null);
    gl.enable(gl.DEPTH_TEST);
  }

  /** Room for the joints' motion and how much there is of each column of offsets. */
  makeRoom() {
    const { gl, record } = this;
    this.frameRows = rowsFor(this.amounts + record.skin.columns.length);
    this.frame = new Float32Array(4 * WIDTH * this.frameRows);
    listTexture(gl, UNITS.frame, gl.RGBA32F, gl.RGBA, gl.FLOAT, this.frameRows, null);
  }

  /** The shapes too; also where they are others now. */
  complete() {
    const { gl } = this, { offsetLists } = this.lists;
    listTexture(gl, UNITS.offsetList, gl.RGBA16I, gl.RGBA_INTEGER, gl.SHORT, offsetLists.rows, offsetLists.list);
    gl.bindVertexArray(this.posing);
    this.replaced(5, attribute(gl, 5, offsetLists.starts, 2, { whole: true }));
    gl.bindVertexArray(null);
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

  /** Runs the program that is used for every vertex and puts what it gives into a buffer. */
  capture(array, { feedback }) {
    const { gl } = this;
    gl.bindVertexArray(array);
    gl.enable(gl.RASTERIZER_DISCARD);
    gl.bindTransformFeedback(gl.TRANSFORM_FEEDBACK, feedback);
    gl.beginTransformFeedback(gl.POINTS);
    gl.drawArrays(gl.POINTS, 0, this.lists.count);
    gl.endTransformFeedback();
    gl.bindTransformFeedback(gl.TRANSFORM_FEEDBACK, null);
    gl.disable(gl.RASTERIZER_DISCARD);
  }

  /** Shows details, one over the other. `pictures`: their maps and masks, by name. Masks of all of them count on. */
  wear(details, pictures) {
    const { gl, lists } = this, sets = [...new Set(details.flatMap(({ uv, masks_uv }) => [uv, masks_uv]))];
    let next = 0;
    const shown = details.map(({ uv, masks_uv, mixing, textures }) => ({
      mapSet: sets.indexOf(uv), maskSet: sets.indexOf(masks_uv), reoriented: mixing === "reoriented", masks: textures.map(() => next++),
    }));
    this.detailProgram = new Program(gl, shadeVertex(sets.length), shadeFragment(shown, sets.length), UNITS);
    gl.bindVertexArray(this.shading);
    sets.forEach((set, place) => this.replaced(UV_PLACES[place], attribute(gl, UV_PLACES[place], lists.uv[set], 2)));
    gl.bindVertexArray(null);
    details.forEach(({ maps }, detail) => {
      const unit = UNITS[`detailMaps${detail}`];
      if (maps) this.quartered(pictures.get(maps), unit);
      else plainTexture(gl, unit, [128, 128, 128, 128]);
    });
    details.flatMap(({ textures }) => textures).forEach((name, mask) => pictureTexture(gl, UNITS.mask0 + mask, pictures.get(name)));
  }

  /** Forgets the numbers of vertices at a place that others have taken. */
  replaced(place, buffer) {
    this.gl.deleteBuffer(this.replaceable[place] ?? null);
    this.replaceable[place] = buffer;
  }

  quartered(maps, unit) {
    const { gl } = this, size = maps.width / 2, texture = gl.createTexture(), target = gl.createFramebuffer();
    const packing = new Program(gl, WHOLE_TARGET, QUARTERS, UNITS);
    pictureTexture(gl, UNITS.picture, maps, false);
    emptied(gl, unit);
    gl.bindTexture(gl.TEXTURE_2D, texture);
    gl.texStorage2D(gl.TEXTURE_2D, Math.floor(Math.log2(size)) + 1, gl.RGBA8, size, size);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.LINEAR_MIPMAP_LINEAR);
    gl.bindFramebuffer(gl.FRAMEBUFFER, target);
    gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, gl.TEXTURE_2D, texture, 0);
    packing.use();
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
    const at = this.poseProgram.use();
    gl.uniform1i(at.amounts, this.amounts);
    gl.uniform1i(at.perVertex, lists.perVertex);
    gl.uniform3fv(at.low, record.skin.low);
    gl.uniform3fv(at.step_, record.skin.step);
    this.capture(this.posing, this.posed);
    gl.bindBuffer(gl.PIXEL_UNPACK_BUFFER, this.posed.buffer);   // vertices are asked for by their neighbours
    relisted(gl, UNITS.posedPlaces, gl.RGBA, gl.FLOAT, this.rows, 0);
    gl.bindBuffer(gl.PIXEL_UNPACK_BUFFER, null);
    this.normalProgram.use();
    this.capture(this.summing, this.summed);
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
    const at = (this.detailProgram ?? this.shadeProgram).use();
    gl.uniformMatrix4fv(at.view, false, view);
    gl.uniform3fv(at.eye, camera.eye());
    gl.uniform1i(at.colouring, look.colouring);
    gl.uniform1f(at.depth, look.depth);
    gl.uniform3fv(at.clay, look.clay);
    gl.uniform3fv(at.scale, look.scale);
    gl.uniform4fv(at.folds, look.folds ?? this.folds);
    gl.bindVertexArray(this.shading);
    gl.drawElements(gl.TRIANGLES, this.lists.triangles.length, this.indexKind, 0);
    this.drawGround(view, look);
  }

  drawGround(view, { ground, shade }) {
    const { gl } = this, at = this.groundProgram.use();
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
    this.pickProgram ??= new Program(gl, PICK_VERTEX, PICK_FRAGMENT, UNITS);   // nobody waits for it before a first click
    this.target ??= this.pickTarget();
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.target);
    const at = this.pickProgram.use();
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
