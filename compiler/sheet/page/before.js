// An earlier state of the character beside the present one: the same camera, the same motion, and how far apart both are.

import { add, conjugate, multiply, subtract } from "./algebra.js";
import { steer } from "./camera.js";
import { tellLegend } from "./controls.js";
import { Evaluation } from "./evaluation.js";
import { Skeleton } from "./poses.js";
import { Stage } from "./stage.js";
import { unpacked } from "./unpacking.js";

const OWN = "before ";
const ALIKE = 2e-5;   // metres: skins that are nearer than the page's own accuracy do not differ

export class Before {
  /** Of a view whose record has an earlier state. `generated`: what the module of that state computes. */
  constructor(view, generated) {
    const { before, arrays } = view.record;
    Object.assign(this, { view, mode: "now", comparable: before.comparable });
    this.record = { ...view.record, ...before, skin: before.skin?.layout ?? null, arrays: ownArrays(arrays) };
    this.skeleton = new Skeleton(this.record);
    this.evaluation = new Evaluation(this.record, this.skeleton, generated);
    this.globals = new Float64Array(12 * this.record.joints.length);
    this.figures = ["before", "now"].map((state) => [...document.querySelectorAll(`[data-${state}]`)].map((element) => [element, Number(element.dataset[state])]));
    this.picture = document.querySelector(".picture");
    this.prepare();
  }

  prepare() {
    this.buttons = [...document.querySelectorAll("[data-state]")];
    for (const button of this.buttons) button.addEventListener("click", () => this.show(button.dataset.state));
    const fade = document.getElementById("fade");
    fade?.addEventListener("input", () => this.blend());
  }

  /** Shows one state, or both: `now`, `before`, `side by side`, `overlaid`. */
  show(mode) {
    this.mode = mode;
    this.picture.dataset.states = mode;
    for (const button of this.buttons) button.setAttribute("aria-pressed", String(button.dataset.state === mode));
    document.getElementById("fading").hidden = mode !== "overlaid";
    this.blend();
    this.view.changed();
  }

  /** How much of each state is seen where one lies over the other. */
  blend() {
    const fade = document.getElementById("fade"), share = this.mode === "overlaid" ? Number(fade.value) : 1;
    fade.setAttribute("aria-valuetext", `${Math.round(100 * share)} % now`);
    document.getElementById("pane-now").style.opacity = String(share);
    document.getElementById("pane-before").style.opacity = String(this.mode === "overlaid" ? Math.min(1, 2 - 2 * share) : 1);
  }

  /** A place at which the states differ was gone to: both are shown, and coloured by what there is to see. */
  arrive({ colour }) {
    if (!colour || !this.record.skin) return;
    if (this.mode === "now") this.show("side by side");
    const choice = document.getElementById("colour");
    const option = [...choice.options].find(({ dataset }) => dataset.kind === colour);
    if (!option) return;
    choice.value = option.value;
    this.view.paint(colour, "");
  }

  get isShown() {
    return Boolean(this.record.skin) && (this.mode !== "now" || this.view.stage?.colour[0] === "apart");
  }

  /** Takes the view's pose over: strengths always, the skin where it is shown. */
  follow() {
    const { view, evaluation } = this, pose = this.carried(view.pose), found = evaluation.of(pose);
    [found, view.found].forEach((strengths, state) => {
      for (const [element, number] of this.figures[state]) element.textContent = strengths[number].toFixed(3);
    });
    if (!view.stage || !this.isShown) return;
    if (!this.stage) {
      this.lifting ??= this.lift();
      return;
    }
    if (this.stage.lost) return;
    const amounts = evaluation.columns(found, pose, view.shaped);
    this.stage.pose(this.skeleton.globals(pose, this.globals), amounts, (follows) => evaluation.strength(found, follows));
    if (view.stage.colour[0] === "apart") this.compare();
  }

  draw(fine = false) {
    if (this.stage && this.mode !== "now") this.stage.draw(fine);
  }

  paint(kind, name) {
    this.stage?.paint(kind, name);
    if (kind === "apart") this.view.changed();
  }

  /** Colours both skins by how far apart they are now. */
  compare() {
    const now = this.view.stage.skin.places(), was = this.stage.skin.places(), count = now.length / 4;
    const apart = new Float32Array(count), bytes = new Uint8Array(count);
    let most = 0;
    for (let vertex = 0; vertex < count; vertex += 1) {
      const at = 4 * vertex;
      apart[vertex] = Math.hypot(now[at] - was[at], now[at + 1] - was[at + 1], now[at + 2] - was[at + 2]);
      most = Math.max(most, apart[vertex]);
    }
    if (most > ALIKE) apart.forEach((value, vertex) => { bytes[vertex] = value > ALIKE ? Math.max(1, Math.round(255 * value / most)) : 0; });
    for (const stage of [this.view.stage, this.stage]) {
      stage.given = bytes;
      stage.paint("apart", "");
    }
    tellLegend("apart", most > ALIKE ? most : 0);
  }

  /** The second picture, made when it is asked for. */
  async lift() {
    const { view, record, skeleton } = this, canvas = document.getElementById("stage-before");
    const stage = new Stage(canvas, record);
    Object.assign(stage, { camera: view.stage.camera, ground: view.stage.ground });
    await stage.begin({ reached: () => view.block }, skeleton.globals(skeleton.rest()));
    stage.complete(view.block, (name) => this.array(name));
    if (record.details.length) await stage.dress(record.details);
    stage.restored = () => { stage.paint(...stage.colour); view.changed(); };
    steer(canvas, stage.camera, () => view.ask(), (x, y) => { if (this.comparable) view.pick(stage.under(x, y)); });
    new ResizeObserver(() => view.ask()).observe(canvas);
    for (const scheme of ["(prefers-color-scheme: dark)", "print"]) {
      matchMedia(scheme).addEventListener("change", () => { stage.look = null; view.ask(); });
    }
    this.stage = stage;
    stage.paint(...view.stage.colour);
    view.changed();
  }

  /** An array of this state; offsets and regions that the present state has too are taken from there. */
  array(name) {
    const { view, record } = this, { skin, before } = view.record, own = before.skin;
    const rows = (columns) => columns.map(([first, second]) => (typeof first === "number" ? first : second));
    const parts = name.startsWith("offset") ? ["columns", own.columns] : name.startsWith("region ") ? ["regions", own.regions] : null;
    if (!parts) return unpacked(view.block, record.arrays[name]);
    const [list, like] = parts, place = view.record.arrays[name] ?? view.record.arrays[OWN + name];
    const values = { now: view.record.arrays[name] && unpacked(view.block, view.record.arrays[name]), own: unpacked(view.block, view.record.arrays[OWN + name]) };
    return gathered(rows(own.layout[list]), like, skin ? rows(skin[list]) : [], values, place.width);
  }

  /** The view's pose as one of this state: each joint moves since its neutral stance as it does in the other. */
  carried(pose) {
    const own = this.skeleton.rest(), other = this.view.skeleton;
    this.skeleton.joints.forEach((joint, number) => {
      const there = other.numbers.get(joint.name);
      if (there === undefined) return;
      const was = other.joints[there];
      const moved = (part, given, change) => { own[part][number] = same(was[given], joint[given]) ? pose[part][there] : change(); };
      moved("rotations", "rotation", () => multiply(joint.rotation, multiply(conjugate(was.rotation), pose.rotations[there])));
      moved("translations", "translation", () => add(joint.translation, subtract(pose.translations[there], was.translation)));
      moved("scales", "scale", () => pose.scales[there].map((value, axis) => (was.scale[axis] ? value * joint.scale[axis] / was.scale[axis] : value)));
    });
    this.skeleton.controls.forEach(({ name }, number) => {
      const there = other.controlNumbers.get(name);
      if (there !== undefined) own.controls[number] = pose.controls[there];
    });
    return own;
  }
}

const same = (one, other) => one.every((value, axis) => value === other[axis]);

/** The places of arrays with those of the earlier state in place of the present ones. */
function ownArrays(arrays) {
  const own = Object.entries(arrays).filter(([name]) => name.startsWith(OWN)).map(([name, place]) => [name.slice(OWN.length), place]);
  return { ...arrays, ...Object.fromEntries(own) };
}

/** Parts one after the other: those that are like one of the present state from there, the others from their own array. */
function gathered(sizes, like, present, values, width) {
  const starts = [];
  present.reduce((at, size) => { starts.push(at); return at + size; }, 0);
  const result = new values.own.constructor(width * sizes.reduce((sum, size) => sum + size, 0));
  let to = 0, next = 0;
  sizes.forEach((size, part) => {
    const from = like[part] < 0 ? next : starts[like[part]];
    if (like[part] < 0) next += size;
    result.set((like[part] < 0 ? values.own : values.now).subarray(width * from, width * (from + size)), to);
    to += width * size;
  });
  return result;
}
