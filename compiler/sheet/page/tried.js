// Trying out: a span or a curve of a driver, a limit of an expectation; and the line of the spec that says it.

import { responseOf } from "./evaluation.js";
import { curveThrough, pointsOf } from "./monotone.js";

/** Ties the fields of all rows to the evaluation; `changed` after each step. */
export function prepareTrying(record, evaluation, changed) {
  const bySide = new Map(record.rows.map((row) => [String(row.strength), row]));
  for (const form of document.querySelectorAll("[data-try-span]")) {
    const row = bySide.get(form.dataset.trySpan), respond = responseOf(row);
    const [start, stop, through] = form.querySelectorAll("input"), line = form.querySelector("code");
    const quantity = (value) => `${Number(value)}${row.unit ? ` ${row.unit}` : ""}`;
    const update = () => {
      const span = [Number(start.value) / row.factor, Number(stop.value) / row.factor];
      const ends = start.value !== "" && stop.value !== "" && span[0] !== span[1];
      const bent = through !== undefined && through.value !== through.defaultValue;
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
    };
    prepare(form, update);
  }
  for (const form of document.querySelectorAll("[data-try-limit]")) {
    const limit = form.querySelector("input"), line = form.querySelector("code"), verdict = form.querySelector("output");
    const { before, after, unit, value, less } = form.dataset;
    prepare(form, () => {
      const keeps = less ? Number(value) >= Number(limit.value) : Number(value) <= Number(limit.value);
      line.textContent = `${before}${Number(limit.value)}${unit ? ` ${unit}` : ""}${after}`;
      verdict.textContent = limit.value === "" ? "" : keeps ? "would hold" : "would fail";
    });
  }
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
