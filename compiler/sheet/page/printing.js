// Printing: the picture is drawn at once, in the colours of paper, as what was drawn before is gone by then.

/** `stages()` gives the pictures that are shown. */
export function preparePrinting(stages, ended) {
  addEventListener("beforeprint", () => {
    for (const stage of stages()) {
      stage.look = null;
      stage.draw(true);
    }
  }, { signal: ended });
}
