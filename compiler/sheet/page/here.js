// Who drives this skin: what is known of one vertex.

const byWeight = (a, b) => b.weight - a.weight;

/** What is there at a vertex: joints, regions, shapes (metres at full strength, and now) and folds, the heaviest first. */
export function whatIsAt(vertex, record, lists, evaluation, found) {
  const { skin } = record, joints = [];
  for (let i = 0; i < lists.perVertex; i += 1) {
    const weight = lists.weights[vertex * lists.perVertex + i] / 65535;
    if (weight > 0) joints.push({ name: record.joints[skin.binds[lists.joints[vertex * lists.perVertex + i]]].name, weight });
  }
  const weights = new Map();
  for (const [name, { vertices, weights: all }] of lists.regions) {
    const row = vertices.indexOf(vertex);
    if (row >= 0) weights.set(name, all[row] / 255);
  }
  const shapes = [];
  for (const { name, follows, column } of skin.shapes) {
    const moved = offsetAt(vertex, column, skin.columns, lists.offsets);
    if (moved > 0) shapes.push({ name, follows, weight: moved, now: evaluation.strength(found, follows) });
  }
  return {
    joints: joints.sort(byWeight),
    regions: [...weights].map(([name, weight]) => ({ name, weight })).sort(byWeight),
    shapes: shapes.sort(byWeight),
    folds: record.folds.filter(({ area }) => weights.has(area))
      .map(({ name, follows, area }) => ({ name, follows, weight: weights.get(area), now: evaluation.strength(found, follows) }))
      .sort(byWeight),
  };
}

function offsetAt(vertex, column, columns, { vertices, steps }) {
  let from = 0;
  for (let before = 0; before < column; before += 1) from += columns[before][0];
  const row = vertices.subarray(from, from + columns[column][0]).indexOf(vertex);
  return row < 0 ? 0 : columns[column][1] * Math.hypot(...steps.subarray(3 * (from + row), 3 * (from + row) + 3));
}

/** Writes it into the panel; links lead to the rows of what drives it. */
export function tellHere(panel, vertex, what, blocks) {
  const list = panel.querySelector("dl");
  const percent = (weight) => `${(100 * weight).toFixed(weight < 0.0995 ? 1 : 0)} %`;
  const driven = ({ follows, now }) => (follows === null ? "set by hand" : `follows ${follows}, now ${now.toFixed(2)}`);
  const groups = [
    ["Skin of", what.joints.map(({ name, weight }) => [name, percent(weight), ""])],
    ["Regions", what.regions.map(({ name, weight }) => [name, percent(weight), ""])],
    ["Shapes", what.shapes.map((one) => [one.name, `${(1000 * one.weight).toFixed(2)} mm at full strength; ${driven(one)}`, `shape ${one.name}`])],
    ["Folds", what.folds.map((one) => [one.name, `${percent(one.weight)} of its area by vertex; ${driven(one)}`, `fold ${one.name}`])],
  ];
  panel.querySelector("h2").textContent = `Here: vertex ${vertex}`;
  list.replaceChildren(...groups.flatMap(([title, entries]) => {
    const head = document.createElement("dt");
    head.textContent = title;
    const lines = entries.length ? entries : [["none", "", ""]];
    return [head, ...lines.map(([name, about, block]) => {
      const line = document.createElement("dd");
      const shown = document.createElement(blocks[block] ? "a" : "span");
      if (blocks[block]) shown.href = `#${blocks[block]}`;
      shown.textContent = name;
      line.append(shown, about ? ` ${about}` : "");
      return line;
    })];
  }));
  panel.hidden = false;
}
