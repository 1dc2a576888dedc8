// Search: rows whose words hold all that was typed stay, the others are put away.

/** Ties the field `search` to all rows with words. */
export function prepareSearch() {
  const field = document.getElementById("search"), found = document.getElementById("found");
  const rows = [...document.querySelectorAll("[data-words]")];
  const texts = rows.map((row) => row.dataset.words.toLowerCase());
  const sections = [...document.querySelectorAll("#report > section")];
  field.addEventListener("input", () => {
    const wanted = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    let kept = 0;
    rows.forEach((row, number) => {
      const fits = wanted.every((word) => texts[number].includes(word));
      row.hidden = !fits;
      kept += fits;
    });
    for (const section of sections) {
      const own = [...section.querySelectorAll("[data-words]")];
      const drawn = section.querySelector("[data-item]");   // a drawing shows by itself what is found in it
      section.hidden = wanted.length > 0 && !drawn && own.every((row) => row.hidden);
    }
    found.textContent = wanted.length ? `${kept} of ${rows.length} entries` : "";
  });
}

/** Opens the row that an address names, also by a link within the page, until the signal `ended`. */
export function prepareLinks(ended) {
  const open = () => {
    const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    for (let element = target; element; element = element.parentElement) if (element.tagName === "DETAILS") element.open = true;
    target?.scrollIntoView({ block: "nearest" });
  };
  addEventListener("hashchange", open, { signal: ended });
  if (location.hash) open();
}
