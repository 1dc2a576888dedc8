// Trying out: a span or a curve of a driver, a limit of an expectation; and the line of the spec that says it.

import { responseOf } from "./evaluation.js";
import { curveThrough, pointsOf } from "./monotone.js";

/** Makes the fields of a row when it is opened: hundreds of forms would cost every page its start. `changed` after each step. */
export function prepareTrying(record, evaluation, changed) {
  const rows = new Map(record.rows.map((row) => [String(row.strength), row]));
  for (const place of document.querySelectorAll(".trying")) {
    place.addEventListener("toggle", () => {
      const { spans, limit } = place.dataset;
      for (const strength of spans?.split(" ") ?? []) trySpan(formIn(place, "try-span"), rows.get(strength), evaluation, changed);
      if (limit !== undefined) tryLimit(formIn(place, "try-limit"), place.dataset);
    }, { once: true });
  }
}

function formIn(place, template) {
  place.append(document.getElementById(template).content.cloneNode(true));
  return place.lastElementChild;
}

/** Fields as they are written, and what they are called for who does not see. */
function filled(inputs, values, names) {
  inputs.forEach((input, number) => {
    input.defaultValue = values[number];
    input.setAttribute("aria-label", names[number]);
  });
}

/** A span, and a curve where one can be written as points. */
function trySpan(form, row, evaluation, changed) {
  const { name, side, unit, factor, written } = row, respond = responseOf(row);
  const [start, stop, through] = form.querySelectorAll("input"), line = form.querySelector("code");
  form.dataset.trySpan = row.strength;
  const mark = form.querySelector(".mark");
  mark.classList.add(side);
  mark.textContent = { left: "L", right: "R" }[side] ?? "";
  form.querySelector(".unit").textContent = unit;
  filled([start, stop, through], [written.start, written.stop, written.points ?? ""],
    [`Start of the span of ${name}`, `End of the span of ${name}`, `Points of the curve of ${name}`]);
  if (written.points === null) through.closest("label").remove();
  const quantity = (value) => `${Number(value)}${unit ? ` ${unit}` : ""}`;
  prepare(form, () => {
    const span = [Number(start.value) / factor, Number(stop.value) / factor];
    const ends = start.value !== "" && stop.value !== "" && span[0] !== span[1];
    const bent = through.value !== through.defaultValue;
    const points = bent ? pointsOf(through.value) : null;
    const moved = start.value !== start.defaultValue || stop.value !== stop.defaultValue;
    const sound = ends && (!bent || points !== null);
    const curve = points && curveThrough(points);
    if (sound && (moved || bent)) {
      evaluation.tried.set(row, (reading) =>
        (curve ? curve((reading - span[0]) / (span[1] - span[0])) : respond(reading, span)));
    } else {
      evaluation.tried.delete(row);
    }
    const lines = [...(moved || !bent ? [`span  ${quantity(start.value)} .. ${quantity(stop.value)}`] : []),
      ...(points ? [`curve  ${points.map((pair) => pair.join(" ")).join(", ")}`] : [])];
    line.textContent = !ends ? "a span has two ends, not the same"
      : sound ? lines.join("\n") : "points rise from 0 to 1, as in 0 0, 0.5 0.35, 1 1";
    form.dataset.tried = sound && (moved || bent) ? "yes" : "";
    changed();
  });
}

function tryLimit(form, { limit: written, before, after, unit, value, less, title }) {
  const limit = form.querySelector("input"), line = form.querySelector("code"), verdict = form.querySelector("output");
  filled([limit], [written], [`Limit of ${title}`]);
  form.querySelector(".unit").textContent = unit;
  prepare(form, () => {
    const keeps = less ? Number(value) >= Number(limit.value) : Number(value) <= Number(limit.value);
    line.textContent = `${before}${Number(limit.value)}${unit ? ` ${unit}` : ""}${after}`;
    verdict.textContent = limit.value === "" ? "" : keeps ? "would hold" : "would fail";
  });
}

/** Fields, the button that takes all back, and the one that copies the line. */
function prepare(form, update) {
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("input", update);
  form.addEventListener("reset", () => setTimeout(update));
  form.querySelector("[data-copy]").addEventListener("click", async (event) => {
    const code = form.querySelector("code"), button = event.currentTarget;
    button.textContent = (await copied(code)) ? "copied" : "marked: copy it";
    setTimeout(() => { button.textContent = "Copy the line"; }, 2000);
  });
  update();
}

/** Whether a line could be put on the clipboard; else it is marked, to be copied by hand. */
async function copied(code) {
  try {
    await navigator.clipboard.writeText(code.textContent);
    return true;
  } catch {
    getSelection().selectAllChildren(code);
    return false;
  }
}
