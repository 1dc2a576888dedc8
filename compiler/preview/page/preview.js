// The page that follows its files: each state that the server tells of is fetched and takes the place of the one before.

import { Arrivals } from "./arrivals.js";
import { goesOn } from "./going-on.js";
import { kept, posedAsBefore, restore } from "./keeping.js";
import { failed, start } from "./main.js";
import { notice, tellFindings, tellLost } from "./notices.js";

const address = new URL(".", location.href).href;
const arrivals = new Arrivals(address);
let view = null, shown = 0, wanted = null, busy = false;

/** Takes the newest state that was told; one that comes meanwhile is taken after it. */
async function takeNewest() {
  if (busy) return;
  busy = true;
  try {
    while (wanted) {
      const told = wanted;
      wanted = null;
      if (told.shown && told.shown !== shown) await take(told);
      tellFindings(told.findings);
      Object.assign(document.body.dataset, { state: told.number, shown });
    }
  } finally {
    busy = false;
  }
}

async function take(told) {
  const arrived = await arrivals.state(told);
  if (!arrived) return;   // there is a newer one, which will be told
  const before = view && kept(view), last = view?.stage;
  const stage = last && goesOn(last, arrived) ? last : undefined;
  view?.end();
  replaceDocument(arrived.document, stage?.canvas);
  view = await start(arrived, { kept: stage, prepare: (made) => { if (before) posedAsBefore(made, before); } });
  if (before) restore(view, before);
  if (last && !stage) last.end();
  shown = told.shown;
}

/** Puts the elements of another document in the place of those that stand here; the picture itself stays. */
function replaceDocument(arrived, canvas) {
  for (const script of arrived.querySelectorAll("script")) script.remove();
  const elements = [...arrived.body.children].map((one) => document.adoptNode(one));
  if (canvas) elements.map((one) => one.querySelector("#stage")).find(Boolean)?.replaceWith(canvas);
  document.title = arrived.title;
  document.body.replaceChildren(...elements);
  document.querySelector("header").after(notice);
}

function follow() {
  document.querySelector("header").after(notice);
  const stream = new EventSource(`${address}changes`);
  stream.addEventListener("message", ({ data }) => {
    wanted = JSON.parse(data);
    takeNewest().catch(failed);
  });
  stream.addEventListener("error", () => tellLost());
}

document.addEventListener("DOMContentLoaded", follow);   // the script stands within the document that it replaces
