// The picture and the rows of a page, which show one and the same pose.

import { prepareControls, tellLegend } from "./controls.js";
import { Evaluation } from "./evaluation.js";
import { steer } from "./camera.js";
import { prepareGraph } from "./graph.js";
import { tellHere, whatIsAt } from "./here.js";
import { Skeleton } from "./poses.js";
import { preparePrinting } from "./printing.js";
import { Rows, figureText } from "./rows.js";
import { prepareLinks, prepareSearch } from "./search.js";
import { Stage } from "./stage.js";
import { prepareTrying } from "./tried.js";
import { textOf } from "./unpacking.js";

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
      this.before?.arrive(place);
    }
  }

  say(words) {
    this.shownPlace = null;
    if (this.state.textContent !== words) this.state.textContent = words;
  }

  paint(kind, name) {
    this.stage.paint(kind, kind === "crossing" ? this.shownPlace?.crossing ?? "" : name);
    tellLegend(kind, this.stage.largest);
    this.before?.paint(kind, name);
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
      this.before?.follow();
    }
    this.paintFrame(false);
    clearTimeout(this.resting);
    if (stage) this.resting = setTimeout(() => this.paintFrame(true), REST);
  }

  paintFrame(fine) {
    this.stage?.draw(fine);
    this.before?.draw(fine);
  }

  /** Takes a picture over: a new one, or that of a view before this one. What happens to it is the business of its view. */
  lift(stage) {
    const isNew = !stage.view;
    stage.view = this;
    this.stage = stage;
    this.lists = stage.lists;
    if (!isNew) return;
    const { canvas } = stage;
    stage.mark = document.getElementById("mark");
    stage.restored = () => { stage.view.paint(...stage.colour); stage.view.changed(); };
    steer(canvas, stage.camera, () => stage.view.ask(), (x, y) => stage.view.pick(stage.under(x, y)));
    new ResizeObserver(() => stage.view.ask()).observe(canvas);
    for (const scheme of ["(prefers-color-scheme: dark)", "print"]) {
      matchMedia(scheme).addEventListener("change", () => { stage.look = null; stage.view.ask(); }, { signal: stage.ending.signal });
    }
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
 * Brings the page that stands in the document to life, and gives its view. The rows need not be in the document yet.
 *
 * record, which may be without its rows, if these stand after all others in the document; block: its arrays, with
 * `reached(end)` that promises so many of their bytes, or all; generated: functions of the character's own modules;
 * compare: gives what shows an earlier state beside a view, for records that have one. Where this takes the place of a
 * view before it: `kept`, the picture that goes on; `prepare`, called with the view before it shows anything.
 */
export async function start({ record, block, generated, compare }, { kept, prepare } = {}) {
  const stage = kept ?? await firstPicture(record, block);
  const bytes = await block.reached();
  await parsed();
  record.rows ??= JSON.parse(textOf("rows"));
  const view = new View(record, bytes, generated);
  prepare?.(view);
  if (compare && record.before) view.before = compare(view);
  prepareSearch();
  prepareLinks(view.ending.signal);
  prepareGraph(view.ending.signal);
  preparePrinting(() => [view.stage, view.before?.stage].filter(Boolean), view.ending.signal);
  prepareTrying(record, view.evaluation, () => view.changed());
  if (stage) {
    if (stage !== kept) stage.complete(bytes);
    view.lift(stage);
    prepareControls(view);
  }
  view.dirty = true;
  view.draw();
  if (stage && record.details.length && !stage.details) {
    await stage.dress(record.details);
    view.changed();
  }
  globalThis.sheet = view;
  document.body.dataset.ready = "yes";
  return view;
}

/** The picture, as soon as it can be shown; null where it cannot, which the page then says. */
async function firstPicture(record, block) {
  const canvas = document.getElementById("stage"), page = document.body.dataset;
  if (!canvas || !record.skin) return null;
  try {
    const stage = new Stage(canvas, record), skeleton = new Skeleton(record);
    page.live = "yes";   // what is not shown has no size
    await stage.begin(block, skeleton.globals(skeleton.rest()));
    performance.mark("first picture");
    return stage;
  } catch (error) {
    delete page.live;
    document.getElementById("why").textContent = `There is no live picture: ${error.message}.`;
    return null;
  }
}

/** Until all rows stand in the document. */
function parsed() {
  if (document.readyState !== "loading") return null;
  return new Promise((done) => { document.addEventListener("DOMContentLoaded", done, { once: true }); });
}

/** Says on the page that the script came to its end. */
export function failed(error) {
  document.body.dataset.ready = "failed";
  const why = document.getElementById("why");
  if (why) why.textContent = `The page's script ended: ${error.message}.`;
}
