// The drawing of what leads to what: what an item is joined with stands out, and so does what a search finds.

/** Ties the drawing to pointer, keyboard and the field `search`. */
export function prepareGraph(ended) {
  const chart = document.querySelector(".chart");
  if (!chart) return;
  const items = new Map([...chart.querySelectorAll("[data-item]")].map((item) => [item.id, item]));
  const lines = [...chart.querySelectorAll("[data-from]")].map((line) => ({ line, from: line.dataset.from, to: line.dataset.to }));
  const texts = new Map([...items].map(([id, item]) => [id, item.dataset.item.toLowerCase()]));
  const search = document.getElementById("search");
  const reached = (starts, step) => {
    const met = new Set(starts);
    for (const id of met) for (const one of lines) if (step(one)[0] === id) met.add(step(one)[1]);
    return met;
  };
  const show = (chosen) => {
    const down = reached(chosen, ({ from, to }) => [from, to]), up = reached(chosen, ({ from, to }) => [to, from]);
    const all = chosen.length === 0;
    for (const [id, item] of items) item.classList.toggle("faint", !all && !down.has(id) && !up.has(id));
    for (const { line, from, to } of lines) {
      const joined = (down.has(from) && down.has(to)) || (up.has(from) && up.has(to));
      line.classList.toggle("faint", !all && !joined);
      line.classList.toggle("strong", !all && joined);
    }
  };
  const found = () => {
    const wanted = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    show(wanted.length ? [...items.keys()].filter((id) => wanted.every((word) => texts.get(id).includes(word))) : []);
  };
  for (const [id, item] of items) {
    for (const event of ["pointerenter", "focusin"]) item.addEventListener(event, () => show([id]));
    for (const event of ["pointerleave", "focusout"]) item.addEventListener(event, found);
  }
  search.addEventListener("input", found, { signal: ended });
}
