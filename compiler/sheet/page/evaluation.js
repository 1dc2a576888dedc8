// From a pose to strengths and readings, by the generated module of the character; and what spans and curves that are
// tried out make of them.

export class Evaluation {
  /** `generated`: what the character's own modules compute, `values`, `inbetweenWeights` and `combinedValues`. */
  constructor(record, skeleton, generated) {
    this.record = record;
    this.skeleton = skeleton;
    this.generated = generated;
    this.numbers = new Map(record.strengths.map((name, number) => [name, number]));
    this.tried = new Map();
    this.amounts = new Float64Array(record.skin?.columns.length ?? 0);
  }

  /** All strengths, then all readings. */
  of(pose) {
    const { values, combinedValues } = this.generated, found = values(this.skeleton.host(pose));
    if (this.tried.size) {
      for (const [row, respond] of this.tried) found[row.strength] = respond(found[row.reading]);
      combinedValues({ control: (name) => found[this.numbers.get(name)] }).forEach((value, number) => { found[number] = value; });
    }
    return found;
  }

  /** The strength that an entry follows; 0 where it follows none. */
  strength(found, follows) {
    return follows === null ? 0 : found[this.numbers.get(follows)];
  }

  /** How much there is of each column of offsets. `shaped`: whether shapes are on; morph targets of the model always are. */
  columns(found, pose, shaped) {
    const { skin } = this.record;
    this.amounts.fill(0);
    if (shaped) {
      for (const { name, follows, at, column } of skin.shapes) {
        const strength = this.strength(found, follows);
        if (!strength) continue;
        if (!at.length) { this.amounts[column] = strength; continue; }
        for (const [place, amount] of this.generated.inbetweenWeights(name, strength)) {
          this.amounts[column + (place === 1 ? 0 : 1 + at.indexOf(place))] = amount;
        }
      }
    }
    const first = this.amounts.length - skin.morphs.length;
    skin.morphs.forEach((control, number) => {
      this.amounts[first + number] = pose.controls[this.skeleton.controlNumbers.get(control)];
    });
    return this.amounts;
  }
}

/** Shares of the span to strengths by a curve that is known at some shares. */
export function responseOf({ shares, response, span }) {
  const rising = shares[shares.length - 1] > shares[0];
  const [xs, ys] = rising ? [shares, response] : [[...shares].reverse(), [...response].reverse()];
  return (reading, [start, stop] = span) => {
    const share = (reading - start) / (stop - start);
    let upper = xs.findIndex((one) => one >= share);
    if (upper < 0) return ys[ys.length - 1];
    if (upper === 0) return ys[0];
    const part = (share - xs[upper - 1]) / (xs[upper] - xs[upper - 1] || 1);
    return ys[upper - 1] + part * (ys[upper] - ys[upper - 1]);
  };
}
