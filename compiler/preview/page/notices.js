// Findings: above the page, and once more beside the rows and lines that they belong to.

/** Where findings stand: the same element while all others are replaced. */
export const notice = document.createElement("div");
notice.className = "notice";
notice.setAttribute("role", "status");

/** Shows findings, which the server wrote with all texts in them escaped. */
export function tellFindings(text) {
  for (const one of document.querySelectorAll("main .finding")) one.remove();
  const told = new DOMParser().parseFromString(text, "text/html").body;
  notice.replaceChildren(...told.children);
  for (const finding of notice.querySelectorAll(".finding")) {
    for (const id of [finding.dataset.row, finding.dataset.line]) {
      const place = id && document.getElementById(id);
      if (!place) continue;
      const copy = finding.cloneNode(true);
      for (const link of copy.querySelectorAll("a")) link.remove();
      (place.querySelector(":scope > .opened") ?? place).append(copy);
      for (let around = place; around; around = around.parentElement) {
        if (around.localName === "details" && around.classList.contains("row")) around.open = true;
      }
    }
  }
}

/** Says that nobody tells of changes any more; the browser goes on trying, and findings that come take its place. */
export function tellLost() {
  const line = document.createElement("p");
  line.className = "told";
  line.textContent = "The preview has ended or cannot be reached: what is saved now does not come here.";
  notice.replaceChildren(line);
}
