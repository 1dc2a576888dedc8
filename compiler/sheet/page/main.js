// The picture and the rows of a page, which show one and the same pose.

import { prepareControls, tellLegend } from "./controls.js";
import { Evaluation } from "./evaluation.js";
import { steer } from "./camera.js";
import { tellHere, whatIsAt } from "./here.js";
import { Skeleton } from "./poses.js";
import { Rows, figureText } from "./rows.js";
import { prepareLinks, prepareSearch } from "./search.js";
import { skinLists } from "./skin-lists.js";
import { Stage } from "./stage.js";
import { prepareTrying } from "./tried.js";

const REST = 200;   // milliseconds without a change after which the picture is drawn finely

class View {
  constructor(record, block, generated) {
    Object.assign(this, { record, block, shaped: true, ending: new AbortController() });
    this.skeleton = new Skeleton(record);
    this.evaluation = new Evaluation(record, this.skeleton, generated);
    this.pose = this.skeleton.rest();
    this.globals = new Float64Array(12 * record.joints.length);
    this.rows = new Rows(record, (row, value) => this.move(row, value), this.ending.signal);
    this.state = document.getElementById("state");
    this.shownPlace = null;
  }

  /** Takes a strength's way to a reading, over the present pose; with its partner where both sides go together. */
  move(row, value) {
    this.interrupted?.();
    const together = document.querySelector(`#${CSS.escape(row.block)} [data-together]`)?.checked;
    const members = together ? this.record.rows.filter(({ block, kind }) => block === row.block && kind === row.kind) : [row];
    for (const member of members) this.pose = this.skeleton.along(member.travel, value, this.pose);
    const said = row.reading >= 0 ? ` at ${figureText(value * row.factor, row.unit)}` : "";
    this.say(`${members.map(({ name }) => name).join(" and ")}${said}`);
    this.changed();
  }

  /** Stands in a pose. */
  go(pose, words) {
    this.pose = pose;
    this.say(words);
    this.changed();
  }

  /** One of the places of the record: its pose, seen from where it matters. */
  jump(number) {
    const place = this.record.places[number];
    this.interrupted?.();
    this.go(this.skeleton.posed(place.pose), `${place.name}: ${place.about}`);
    this.shownPlace = place;
    if (this.stage) {
      this.draw();
      if (place.vertex >= 0) this.stage.lookAt(place.vertex);
      else this.stage.marked = -1;
      this.ask();
    }
  }

  say(words) {
    this.shownPlace = null;
    if (this.state.textContent !== words) this.state.textContent = words;
  }

  paint(kind, name) {
    this.stage.paint(kind, kind === "crossing" ? this.shownPlace?.crossing ?? "" : name);
    tellLegend(kind, this.stage.largest);
    document.getElementById("unknown").hidden = kind !== "crossing" || Boolean(this.shownPlace?.crossing);
    this.ask();
  }

  /** The pose, or what is tried out, has changed. */
  changed() {
    this.dirty = true;
    this.ask();
  }

  /** Asks for a frame. */
  ask() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => this.draw());
  }

  draw() {
    this.asked = false;
    const { stage } = this;
    if (this.dirty) {
      this.dirty = false;
      this.found = this.evaluation.of(this.pose);
      this.rows.show(this.found);
      if (stage && !stage.lost) {
        const amounts = this.evaluation.columns(this.found, this.pose, this.shaped);
        stage.pose(this.skeleton.globals(this.pose, this.globals), amounts, (follows) => this.evaluation.strength(this.found, follows));
        if (stage.colour[0] === "crossing") this.paint("crossing", "");
      }
    }
    stage?.draw();
    clearTimeout(this.resting);
    if (stage) this.resting = setTimeout(() => stage.draw(true), REST);
  }

  /** The picture, where this browser can show one. `kept`: that of a view before this one, which goes on. */
  lift(canvas, kept) {
    const stage = kept ?? this.staged(canvas);
    stage.view = this;
    this.stage = stage;
    this.lists = stage.lists;
  }

  /** A new picture. What happens to it is the business of the view that it belongs to by then. */
  staged(canvas) {
    const stage = new Stage(canvas, this.record, this.block, skinLists(this.record, this.block));
    const globals = this.skeleton.globals(this.pose, this.globals);
    this.found = this.evaluation.of(this.pose);
    stage.pose(globals, this.evaluation.columns(this.found, this.pose, this.shaped), () => 0);
    stage.settle();
    stage.restored = () => { stage.view.paint(...stage.colour); stage.view.changed(); };
    steer(canvas, stage.camera, () => stage.view.ask(), (x, y) => stage.view.pick(stage.under(x, y)));
    new ResizeObserver(() => stage.view.ask()).observe(canvas);
    for (const scheme of ["(prefers-color-scheme: dark)", "print"]) {
      matchMedia(scheme).addEventListener("change", () => { stage.look = null; stage.view.ask(); }, { signal: stage.ending.signal });
    }
    return stage;
  }

  /** Takes everything back that this view listens to outside its own elements. */
  end() {
    this.interrupted?.();
    this.ending.abort();
    clearTimeout(this.resting);
    this.asked = true;
  }

  pick(vertex) {
    const panel = document.getElementById("here");
    this.stage.marked = vertex;
    if (vertex < 0) panel.hidden = true;
    else tellHere(panel, vertex, whatIsAt(vertex, this.record, this.lists, this.evaluation, this.found), this.record.blocks);
    this.ask();
  }
}

/**
 * Brings the page that stands in the document to life, and gives its view.
 *
 * record; block: the bytes of its arrays, or a promise of them; generated: functions of the character's own modules.
 * `stage`: the picture of a view before this one, which goes on.
 */
export async function start({ record, block, generated }, stage) {
  prepareSearch();
  const view = new View(record, await block, generated);
  prepareLinks(view.ending.signal);
  prepareTrying(record, view.evaluation, () => view.changed());
  const canvas = document.getElementById("stage");
  if (canvas && record.skin) {
    try {
      view.lift(canvas, stage);
      prepareControls(view);
      document.body.dataset.live = "yes";
    } catch (error) {
      view.stage = null;
      document.getElementById("why").textContent = `There is no live picture: ${error.message}.`;
    }
  }
  view.dirty = !view.stage || Boolean(stage);   // a new stage stands in the same pose already
  view.draw();
  if (view.stage) {
    view.stage.gl.finish();
    performance.mark("first picture");
    if (record.details.length && !view.stage.detail) await view.stage.dress(record.details[0]);
    view.changed();
  }
  globalThis.sheet = view;
  document.body.dataset.ready = "yes";
  return view;
}

/** Says on the page that the script came to its end. */
export function failed(error) {
  document.body.dataset.ready = "failed";
  const why = document.getElementById("why");
  if (why) why.textContent = `The page's script ended: ${error.message}.`;
}
