// The picture: the skin in the present pose, coloured and seen as a person chose; drawn when something has changed.

import { Camera } from "./camera.js";
import { projected } from "./algebra.js";
import { DIVERGING, SEQUENTIAL, listedBytes, regionBytes, scaleOf, shapeBytes, stretchBytes } from "./colours.js";
import { Skin } from "./skin.js";
import { neutralEnd, SkinLists } from "./skin-lists.js";
import { bitmapOf, unpacked } from "./unpacking.js";

// Pixels drawn for one of the page. What rests is drawn once more, so fine that its edges are smooth: multisampling would
// do that in every frame, and takes most of the time where no graphics card helps.
const MOST_PIXELS = 2;
// Ways to look at a vertex, aside from its normal and upward, the nearest first; and how near to it what is seen must be.
const AROUND = [[0, 0], [0.6, 0], [-0.6, 0], [0, 0.6], [0, -0.6], [1.2, 0], [-1.2, 0], [1.2, 0.6], [-1.2, 0.6], [1.2, -0.6], [-1.2, -0.6], [2, 0], [-2, 0]];
const NEAR = 0.03;

export class Stage {
  /** Throws where this browser cannot show one. */
  constructor(canvas, record) {
    Object.assign(this, { canvas, record, colour: ["none", ""], marked: -1, ending: new AbortController() });
    this.gl = canvas.getContext("webgl2", { antialias: false, alpha: true });
    if (!this.gl) throw new Error("this browser has no WebGL 2");
    this.skin = new Skin(this.gl, record);
    const { low, high } = record.skin.box, size = high.map((value, axis) => value - low[axis]);
    this.camera = new Camera(low.map((value, axis) => (value + high[axis]) / 2), Math.max(size[1], 0.8 * Math.hypot(size[0], size[2])) / 2);
    this.ground = [(low[0] + high[0]) / 2, low[1], (low[2] + high[2]) / 2, 0.62 * Math.hypot(size[0], size[2])];
    canvas.addEventListener("webglcontextlost", (event) => { event.preventDefault(); this.lost = true; });
    canvas.addEventListener("webglcontextrestored", () => this.restore());
  }

  /** The first picture, as soon as its data are there: the skin in the neutral stance, without shapes and maps. */
  async begin(block, globals) {
    const { record, skin } = this;
    this.lists = new SkinLists(record, await block.reached(neutralEnd(record)));
    skin.fill(this.lists);
    this.neutral = [globals, new Float64Array(record.skin.columns.length)];
    this.colouring = 0;
    skin.pose(...this.neutral);
    this.draw();
    await this.drawn();
  }

  /** Everything that is left to be put on the card. `block`: all bytes; array: gives arrays that do not stand in it. */
  complete(block, array) {
    this.block = block;
    this.lists.complete(this.record, block, array);
    this.bytes = new Uint8Array(this.lists.count);
    this.skin.complete();
  }

  /** Gives back what it holds on the card; nothing is drawn any more. */
  end() {
    this.ending.abort();
    this.lost = true;
    this.gl.getExtension("WEBGL_lose_context")?.loseContext();
  }

  restore() {
    this.lost = false;
    this.skin = new Skin(this.gl, this.record);
    this.skin.fill(this.lists);
    this.skin.complete();
    this.wear();
    this.restored?.();
  }

  /** Until the card has drawn all that it was asked for. */
  drawn() {
    const { gl } = this, fence = gl.fenceSync(gl.SYNC_GPU_COMMANDS_COMPLETE, 0);
    gl.flush();
    return new Promise((done) => {
      const look = () => {
        if (gl.isContextLost() || gl.getSyncParameter(fence, gl.SYNC_STATUS) === gl.SIGNALED) done();
        else setTimeout(look, 1);
      };
      look();
    });
  }

  /** Decodes the pictures of details and puts them on. */
  async dress(details) {
    const names = details.flatMap(({ maps, textures }) => [maps, ...textures]).filter(Boolean);
    const decoded = await Promise.all(names.map((name) => bitmapOf(this.block, this.record.files[name])));
    this.pictures = new Map(names.map((name, number) => [name, decoded[number]]));
    this.details = details;
    this.wear();
  }

  wear() {
    if (!this.details) return;
    this.skin.wear(this.details, this.pictures);
    this.keepOn(this.details);
  }

  undress() {
    this.details = this.slots = this.skin.detailProgram = null;
  }

  /** Details whose pictures are on: where each fold's strength stands among those of all masks. */
  keepOn(details) {
    this.details = details;
    this.slots = new Map();
    let first = 0;
    for (const { folds, textures } of details) {
      for (const { fold, texture, channel } of folds) this.slots.set(fold, 4 * (first + texture) + channel);
      first += textures.length;
    }
  }

  /** Puts a pose on the card. */
  pose(globals, amounts, strengthOf) {
    this.posed = [globals, amounts];
    this.skin.pose(globals, amounts);
    this.skin.folds.fill(0);
    for (const { name, follows } of this.record.folds) {
      if (this.slots?.has(name)) this.skin.folds[this.slots.get(name)] = strengthOf(follows);
    }
    if (this.colour[0] === "stretch") this.recolour();
  }

  /** What the skin is coloured by: a kind and a name. */
  paint(kind, name) {
    this.colour = [kind, name];
    this.recolour();
  }

  recolour() {
    const { lists, record, skin, colour: [kind, name] } = this;
    this.colouring = { none: 0, stretch: 2, folds: 3, fold: 3 }[kind] ?? 1;
    this.largest = 0;
    if (kind === "region") this.bytes = regionBytes(lists.count, lists.regions.get(name));
    else if (kind === "shape" && record.skin.shapes.some((one) => one.name === name)) {
      const shape = record.skin.shapes.find((one) => one.name === name);
      ({ bytes: this.bytes, largest: this.largest } = shapeBytes(lists.count, lists, record.skin.columns, shape));
    } else if (kind === "crossing") {
      this.bytes = listedBytes(lists.count, name ? unpacked(this.block, record.arrays[name]) : []);
    } else if (kind === "apart") this.bytes = this.given ?? new Uint8Array(lists.count);
    else if (kind === "stretch") this.bytes = stretchBytes(lists.count, lists, this.rest(), skin.places());
    else this.bytes = new Uint8Array(lists.count);
    skin.tell(this.bytes);
  }

  /** The places of the neutral skin, read back when they are first needed. */
  rest() {
    if (!this.places) {
      this.skin.pose(...this.neutral);
      this.places = this.skin.places();
      this.skin.pose(...this.posed);
    }
    return this.places;
  }

  /** Draws, and moves the ring to the vertex that is marked. `fine`: with as many pixels as there may be. */
  draw(fine = false) {
    if (this.lost) return;
    const { canvas, skin } = this, ratio = fine ? MOST_PIXELS : Math.min(devicePixelRatio, MOST_PIXELS);
    const width = Math.round(canvas.clientWidth * ratio), height = Math.round(canvas.clientHeight * ratio);
    if (width && height && (canvas.width !== width || canvas.height !== height)) Object.assign(canvas, { width, height });
    this.look ??= this.lookOfPage();
    skin.draw(this.camera, {
      ...this.look,
      colouring: this.colouring,
      scale: scaleOf(this.colouring === 2 ? DIVERGING : SEQUENTIAL),
      ground: this.ground,
      folds: this.colour[0] === "fold" ? this.oneFold(this.colour[1]) : undefined,
      depth: 1,
    });
    this.ring();
  }

  oneFold(name) {
    const folds = new Float32Array(this.skin.folds.length);
    if (this.slots?.has(name)) folds[this.slots.get(name)] = 1;
    return folds;
  }

  /** Colours of the page as the style sheet gives them, dark or light. */
  lookOfPage() {
    const style = getComputedStyle(document.documentElement);
    const colour = (name) => style.getPropertyValue(name).trim().split(/\s+/).map((part) => Number(part) / 255);
    return { clay: colour("--clay"), shade: colour("--ground") };
  }

  ring() {
    const { mark } = this;
    if (!mark) return;
    mark.hidden = this.marked < 0;
    if (this.marked < 0) return;
    const { canvas, camera } = this, place = this.skin.places(this.marked);
    const [x, y, , w] = projected(camera.matrix(canvas.width, canvas.height), place);
    mark.style.left = `${(50 * (1 + x / w)).toFixed(2)}%`;
    mark.style.top = `${(50 * (1 - y / w)).toFixed(2)}%`;
  }

  /** The vertex under a place of the window, the nearest corner of the triangle there; -1 for none. */
  under(x, y) {
    const { canvas } = this, box = canvas.getBoundingClientRect();
    return this.skin.pick(this.camera, Math.floor((x - box.left) * canvas.width / box.width), Math.floor((y - box.top) * canvas.height / box.height));
  }

  /** Looks at a vertex from outside, from where nothing stands before it if there is such a place. */
  lookAt(vertex) {
    const { camera, canvas } = this, place = this.skin.places(vertex).slice(0, 3);
    camera.lookAt(place, this.skin.normals(vertex).slice(0, 3));
    this.marked = vertex;
    const { turn, tilt } = camera, near = NEAR * camera.extent;
    for (const [aside, up] of AROUND) {
      Object.assign(camera, { turn: turn + aside, tilt: tilt + up });
      const seen = this.skin.pick(camera, Math.floor(canvas.width / 2), Math.floor(canvas.height / 2));
      if (seen >= 0 && this.skin.places(seen).slice(0, 3).every((value, axis) => Math.abs(value - place[axis]) < near)) return;
    }
    Object.assign(camera, { turn, tilt });
  }
}
