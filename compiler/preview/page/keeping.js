// What a person has set up on the page, kept while the page goes on with the next state of its files.

/** Pose, colour, opened rows, search, what is tried out, and where one looks; by names, since ids count rows. */
export function kept(view) {
  const byId = (id) => document.getElementById(id);
  return {
    pose: view.skeleton.plain(view.pose),
    shaped: view.shaped,
    words: byId("state").textContent,
    open: new Map([...document.querySelectorAll("details")].map((one) => [keyOf(one, view.record), one.open])),
    search: byId("search").value,
    chosen: ["colour", "pose", "clip"].map((id) => [id, byId(id)?.selectedOptions[0]?.textContent]),
    time: byId("time")?.value,
    tried: new Map([...document.querySelectorAll("[data-try-span][data-tried=yes]")].map((form) =>
      [view.record.strengths[Number(form.dataset.trySpan)], [...form.querySelectorAll("input")].map((one) => [one.defaultValue, one.value])])),
    focus: document.activeElement?.id,
    scroll: [scrollX, scrollY],
    camera: view.stage?.camera,
  };
}

/** Sets the pose before anything is drawn; joints and controls that are no more are left out. */
export function posedAsBefore(view, { pose, shaped }) {
  const known = (part, names) => Object.fromEntries(Object.entries(part).filter(([name]) => names.has(name)));
  const { skeleton } = view;
  view.pose = skeleton.posed({ joints: known(pose.joints, skeleton.numbers), controls: known(pose.controls, skeleton.controlNumbers) });
  view.shaped = shaped;
}

/** Sets up the page as it was. */
export function restore(view, before) {
  const byId = (id) => document.getElementById(id);
  for (const one of document.querySelectorAll("details")) one.open = before.open.get(keyOf(one, view.record)) ?? one.open;
  byId("state").textContent = before.words;
  byId("shapes")?.setAttribute("aria-pressed", String(view.shaped));
  for (const [id, text] of before.chosen) {
    const option = [...byId(id)?.options ?? []].find((one) => one.textContent === text);
    if (option) option.selected = true;
  }
  if (before.time !== undefined && byId("time")) byId("time").value = before.time;
  if (before.search) typed(byId("search"), before.search);
  for (const [name, fields] of before.tried) tryAgain(String(view.record.strengths.indexOf(name)), fields);
  if (view.stage) {
    if (view.stage.camera !== before.camera) Object.assign(view.stage.camera, before.camera);
    const { kind, name } = byId("colour").selectedOptions[0].dataset;
    view.paint(kind, name ?? "");
  }
  if (before.focus) byId(before.focus)?.focus({ preventScroll: true });
  scrollTo(...before.scroll);
}

/** Fills in what was tried out, where the spec still says what it was tried instead of. */
function tryAgain(strength, fields) {
  const place = [...document.querySelectorAll(".trying")].find(({ dataset }) => dataset.spans?.split(" ").includes(strength));
  place?.dispatchEvent(new Event("toggle"));   // which makes its fields
  const inputs = [...place?.querySelectorAll(`[data-try-span="${strength}"] input`) ?? []];
  if (fields.length !== inputs.length || inputs.some((one, number) => one.defaultValue !== fields[number][0])) return;
  inputs.forEach((one, number) => { if (one.value !== fields[number][1]) typed(one, fields[number][1]); });
}

function typed(field, value) {
  field.value = value;
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

/** What a part of the page that opens is known by: the names that its row stands for, and its own summary. */
function keyOf(details, { blocks }) {
  const row = details.closest("[id]")?.id ?? "";
  const names = Object.keys(blocks).filter((name) => blocks[name] === row);
  const title = details.querySelector(":scope > summary > .name") ?? details.querySelector("summary");
  return `${names.join(" ") || row} ${title.textContent}`;
}
