// What stands under the picture: standpoints, colour, poses, clips.

import { FULL_STRETCH } from "./colours.js";
import { clipPoses } from "./poses.js";
import { unpacked } from "./unpacking.js";

const LEGENDS = {
  region: ["weight by vertex 0", "1"],
  folds: ["relaxed", "contracted"],
  fold: ["as the mask file says: 0", "1"],
  crossing: ["", "passes through itself"],
  stretch: [`squeezed by ${100 * FULL_STRETCH} % or more`, `stretched by ${100 * FULL_STRETCH} % or more`],
};

/** Ties the controls to the view. */
export function prepareControls(view) {
  const { stage } = view, byId = (id) => document.getElementById(id);
  for (const button of document.querySelectorAll("[data-stand]")) {
    button.addEventListener("click", () => { stage.camera.stand(button.dataset.stand); stage.marked = -1; view.ask(); });
  }
  byId("rest").addEventListener("click", () => view.go(view.skeleton.rest(), "At rest"));
  byId("mirror").addEventListener("click", () => view.go(view.skeleton.mirrored(view.pose), "Left and right exchanged"));
  byId("shapes").addEventListener("click", ({ currentTarget }) => {
    view.shaped = currentTarget.getAttribute("aria-pressed") !== "true";
    currentTarget.setAttribute("aria-pressed", String(view.shaped));
    view.changed();
  });
  const colour = byId("colour");
  colour.addEventListener("change", () => {
    const { kind, name } = colour.selectedOptions[0].dataset;
    view.paint(kind, name ?? "");
  });
  const pose = byId("pose");
  pose?.addEventListener("change", () => { if (pose.value !== "") view.jump(Number(pose.value)); });
  for (const button of document.querySelectorAll("[data-jump]")) {
    button.addEventListener("click", () => view.jump(Number(button.dataset.jump)));
  }
  if (byId("clip")) prepareClips(view);
}

/** What a colour means, beside the scale. */
export function tellLegend(kind, largest) {
  const legend = document.getElementById("legend");
  legend.hidden = kind === "none";
  legend.dataset.scale = kind === "stretch" ? "diverging" : "sequential";
  const millimetres = `${(1000 * largest).toFixed(2)} mm`;
  const measured = { shape: ["0 mm", `${millimetres} at full strength`], apart: largest > 0 ? ["0 mm", `${millimetres} apart`] : ["nowhere apart in this pose", ""] };
  const [low, high] = measured[kind] ?? LEGENDS[kind] ?? ["", ""];
  legend.querySelector(".low").textContent = low;
  legend.querySelector(".high").textContent = high;
}

function prepareClips(view) {
  const { record, block } = view, byId = (id) => document.getElementById(id);
  const [choice, play, time, shown] = ["clip", "play", "time", "seconds"].map(byId);
  const made = new Map();
  const clip = () => record.clips[Number(choice.value)];
  const poseAt = (seconds) => {
    const one = clip();
    if (!made.has(one)) made.set(one, clipPoses(view.skeleton, one, (name) => unpacked(block, record.arrays[name])));
    return made.get(one)(seconds);
  };
  const show = () => {
    shown.textContent = `${Number(time.value).toFixed(2)} s`;
    time.setAttribute("aria-valuetext", shown.textContent);
    view.go(poseAt(Number(time.value)), `${clip().name} at ${shown.textContent}`);
  };
  const chosen = () => {
    const { times } = clip();
    [time.min, time.max, time.step] = [times[0], times.at(-1), "any"];
    time.value = String(times[0]);
  };
  let started = null;
  const stop = () => { started = null; play.setAttribute("aria-pressed", "false"); play.textContent = "Play"; };
  const frame = (now) => {
    if (started === null) return;
    const { times } = clip(), length = times.at(-1) - times[0];
    time.value = String(times[0] + ((now - started) / 1000) % (length || 1));
    show();
    requestAnimationFrame(frame);
  };
  play.addEventListener("click", () => {
    if (started !== null) { stop(); return; }
    started = performance.now() - 1000 * (Number(time.value) - clip().times[0]);
    play.setAttribute("aria-pressed", "true");
    play.textContent = "Stop";
    requestAnimationFrame(frame);
  });
  time.addEventListener("input", () => { stop(); show(); });
  choice.addEventListener("change", () => { stop(); chosen(); show(); });
  view.interrupted = stop;
  chosen();
}
