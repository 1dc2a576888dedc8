// The rows of the report: present readings as points on plots, figures, sliders.

const WIDTH = 320, HEIGHT = 96, PAD = 6;

/** A number with its unit, short. */
export function figureText(value, unit, digits = 1) {
  const text = Math.abs(value) < 0.5 * 10 ** -digits ? "0" : value.toFixed(unit ? digits : 3);
  return unit ? `${text} ${unit}` : text;
}

export class Rows {
  /** `moved(row, value)` is called where a slider asks for a reading, until the signal `ended`. */
  constructor(record, moved, ended) {
    const [figures, dots, bars, sliders, outputs] = ["strength", "dot", "bar", "slider", "output"].map(elementsBy);
    this.rows = record.rows.map((row) => ({
      row,
      figures: figures.get(String(row.strength)) ?? [],
      dots: dots.get(String(row.strength)) ?? [],
      bars: bars.get(String(row.strength)) ?? [],
      slider: sliders.get(String(row.strength))?.[0],
      output: outputs.get(String(row.strength))?.[0],
      frame: frameOf(row.block),
      shown: true,
      last: NaN,
    }));
    for (const one of this.rows) {
      const { slider, row } = one;
      if (!slider) continue;
      [slider.min, slider.max] = row.travel.values.length ? [row.travel.values[0], row.travel.values.at(-1)] : row.range;
      slider.step = "any";
      slider.value = row.kind === "driver" ? 0 : row.travel.values[0];
      slider.addEventListener("input", () => moved(row, Number(slider.value)));
    }
    this.watch(ended);
  }

  /** Only rows that are on the screen are kept up to date. */
  watch(ended) {
    const byElement = new Map();
    for (const one of this.rows) {
      const element = document.getElementById(one.row.block);
      if (element) byElement.set(element, [...(byElement.get(element) ?? []), one]);
    }
    const observer = new IntersectionObserver((entries) => {
      for (const { target, isIntersecting } of entries) {
        for (const one of byElement.get(target)) { one.shown = isIntersecting; one.last = NaN; }
      }
      this.show(this.found);
    }, { rootMargin: "200px" });
    for (const element of byElement.keys()) observer.observe(element);
    addEventListener("beforeprint", () => {
      for (const one of this.rows) { one.shown = true; one.last = NaN; }
      this.show(this.found);
    }, { signal: ended });
    ended.addEventListener("abort", () => observer.disconnect());
  }

  /** Shows strengths and readings. */
  show(found) {
    if (!found) return;
    this.found = found;
    for (const one of this.rows) {
      if (!one.shown) continue;
      const strength = found[one.row.strength], reading = one.row.reading < 0 ? 0 : found[one.row.reading];
      const both = strength + 1e3 * reading;
      if (both === one.last) continue;
      one.last = both;
      this.showOne(one, strength, reading);
    }
  }

  showOne({ row, figures, dots, bars, slider, output, frame }, strength, reading) {
    const text = strength.toFixed(3);
    for (const element of figures) element.textContent = text;
    for (const bar of bars) bar.setAttribute("width", String(100 * Math.min(Math.max(strength, 0), 1)));
    if (frame) {
      const x = PAD + (WIDTH - 2 * PAD) * Math.min(Math.max((reading - frame[0]) / (frame[1] - frame[0]), 0), 1);
      const y = HEIGHT - PAD - (HEIGHT - 2 * PAD) * Math.min(Math.max((strength - frame[2]) / (frame[3] - frame[2]), 0), 1);
      for (const dot of dots) dot.setAttribute("transform", `translate(${x.toFixed(2)} ${y.toFixed(2)})`);
    }
    if (row.reading >= 0 && slider) {
      const said = figureText(reading * row.factor, row.unit);
      if (document.activeElement !== slider) slider.value = String(reading);
      slider.setAttribute("aria-valuetext", `${said}, strength ${text}`);
      output.textContent = said;
    } else if (slider) {
      slider.setAttribute("aria-valuetext", `strength ${text}`);
      output.textContent = `strength ${text}`;
    }
  }
}

/** All elements that carry `data-NAME`, by what it says. */
function elementsBy(name) {
  const result = new Map();
  for (const element of document.querySelectorAll(`[data-${name}]`)) {
    const value = element.dataset[name];
    if (result.has(value)) result.get(value).push(element);
    else result.set(value, [element]);
  }
  return result;
}

/** The readings and strengths that the plot of a row covers: low, high, least, greatest. */
function frameOf(block) {
  const plot = document.getElementById(block)?.querySelector("svg[data-frame]");
  return plot ? plot.dataset.frame.split(" ").map(Number) : null;
}
