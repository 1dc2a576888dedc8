// Poses of the skeleton: arrays of local rotations, translations and scales by joint, and the controls' values.

import { add, between, conjugate, multiply, normalised, subtract, times, writeLocal, writeProduct } from "./algebra.js";

const CLIP_STEPS = 32767;

/** The skeleton and controls of the record, and what can be done with poses of them. */
export class Skeleton {
  constructor({ joints, controls }) {
    this.joints = joints;
    this.controls = controls;
    this.numbers = new Map(joints.map(({ name }, number) => [name, number]));
    this.controlNumbers = new Map(controls.map(({ name }, number) => [name, number]));
    this.local = new Float64Array(12);
  }

  /** The neutral stance. */
  rest() {
    return {
      rotations: this.joints.map(({ rotation }) => rotation),
      translations: this.joints.map(({ translation }) => translation),
      scales: this.joints.map(({ scale }) => scale),
      controls: this.controls.map(({ rest }) => rest),
    };
  }

  /** A pose as a build's vectors have it; joints that are not named are as in `under`. */
  posed(plain, under = this.rest()) {
    const pose = copyOf(under);
    for (const [name, { rotation, translation, scale }] of Object.entries(plain.joints ?? {})) {
      const joint = this.numbers.get(name);
      if (rotation) pose.rotations[joint] = normalised(rotation, this.joints[joint].rotation);
      if (translation) pose.translations[joint] = translation;
      if (scale) pose.scales[joint] = scale;
    }
    for (const [name, value] of Object.entries(plain.controls ?? {})) pose.controls[this.controlNumbers.get(name)] = value;
    return pose;
  }

  /** What is away from rest, as `posed` takes it. */
  plain(pose) {
    const joints = {}, controls = {};
    this.joints.forEach((joint, number) => {
      const moved = {};
      for (const [part, kept] of [["rotation", pose.rotations], ["translation", pose.translations], ["scale", pose.scales]]) {
        if (kept[number].some((value, axis) => Math.abs(value - joint[part][axis]) > 1e-12)) moved[part] = [...kept[number]];
      }
      if (Object.keys(moved).length) joints[joint.name] = moved;
    });
    this.controls.forEach(({ name, rest }, number) => { if (pose.controls[number] !== rest) controls[name] = pose.controls[number]; });
    return { joints, controls };
  }

  /** The pose on the way of a strength where its reading is `value`, over another pose. */
  along({ values, poses }, value, under) {
    let upper = values.findIndex((one) => one >= value);
    upper = Math.min(Math.max(upper < 0 ? values.length - 1 : upper, 1), values.length - 1);
    const share = (value - values[upper - 1]) / (values[upper] - values[upper - 1]);
    const free = this.released(poses, under);
    const from = this.posed(poses[upper - 1], free), to = this.posed(poses[upper], free);
    return this.mixed(from, to, Math.min(Math.max(share, 0), 1));
  }

  /** A pose with all that some poses move back at rest. */
  released(poses, under) {
    const pose = copyOf(under);
    for (const { joints, controls } of poses) {
      for (const name of Object.keys(joints)) {
        const number = this.numbers.get(name), { rotation, translation, scale } = this.joints[number];
        [pose.rotations[number], pose.translations[number], pose.scales[number]] = [rotation, translation, scale];
      }
      for (const name of Object.keys(controls)) {
        const number = this.controlNumbers.get(name);
        pose.controls[number] = this.controls[number].rest;
      }
    }
    return pose;
  }

  /** The pose a share of the way from one to another; what is the same object in both stays it. */
  mixed(from, to, share) {
    const line = (a, b) => (a === b ? a : a.map((part, i) => part + share * (b[i] - part)));
    return {
      rotations: from.rotations.map((one, i) => (one === to.rotations[i] ? one : between(one, to.rotations[i], share))),
      translations: from.translations.map((one, i) => line(one, to.translations[i])),
      scales: from.scales.map((one, i) => line(one, to.scales[i])),
      controls: from.controls.map((one, i) => one + share * (to.controls[i] - one)),
    };
  }

  /** Left and right exchanged; what has no partner is at rest. */
  mirrored(pose) {
    const result = this.rest();
    this.joints.forEach((joint, number) => {
      if (joint.partner < 0) return;
      const other = this.joints[joint.partner];
      const [x, y, z, w] = multiply(conjugate(joint.rotation), pose.rotations[number]);
      result.rotations[joint.partner] = normalised(multiply(other.rotation, [...times(joint.turn, [x, y, z]), w]), other.rotation);
      const step = subtract(pose.translations[number], joint.translation);
      result.translations[joint.partner] = add(other.translation, times(joint.move, step));
      result.scales[joint.partner] = mirroredScale(joint, other, pose.scales[number]);
    });
    this.controls.forEach(({ partner }, number) => { if (partner >= 0) result.controls[partner] = pose.controls[number]; });
    return result;
  }

  /** Joint matrices in model space, twelve numbers each. */
  globals(pose, out = new Float64Array(12 * this.joints.length)) {
    this.joints.forEach(({ parent }, number) => {
      const { local } = this;
      writeLocal(local, 0, pose.translations[number], pose.rotations[number], pose.scales[number]);
      if (parent < 0) out.set(local, 12 * number);
      else writeProduct(out, 12 * number, out, 12 * parent, local, 0);
    });
    return out;
  }

  /** What the generated module reads of a pose. */
  host(pose) {
    const control = (name) => pose.controls[this.controlNumbers.get(name)];
    return {
      localTransform: (name) => { const joint = this.numbers.get(name); return [pose.translations[joint], pose.rotations[joint]]; },
      localScale: (name) => pose.scales[this.numbers.get(name)],
      control,
      weight: (morph) => control(`weight of ${morph}`),
    };
  }
}

/** A pose whose lists can be changed. */
export function copyOf({ rotations, translations, scales, controls }) {
  return { rotations: [...rotations], translations: [...translations], scales: [...scales], controls: [...controls] };
}

/** A scale since rest in the partner's axes: the diagonal of K D K^T (`plica.evaluate.pose_mirror`). */
function mirroredScale(joint, other, scale) {
  const factors = scale.map((value, axis) => (joint.scale[axis] ? value / joint.scale[axis] : 1));
  return other.scale.map((value, row) =>
    value * factors.reduce((sum, factor, axis) => sum + joint.turn[3 * row + axis] ** 2 * factor, 0));
}

/** The frames of a clip as poses, made when they are asked for; `arrays` are those of the block by name. */
export function clipPoses(skeleton, clip, arrays) {
  const [turns, moves, scales, controls] = ["turns", "moves", "scales", "controls"].map((part) => arrays(`${clip.array} ${part}`));
  const frame = (number) => {
    const pose = skeleton.rest();
    const part = (values, list, place, width) => Array.from(values.subarray(width * (number * list.length + place), width * (number * list.length + place + 1)));
    clip.turned.forEach((joint, place) => {
      pose.rotations[joint] = normalised(part(turns, clip.turned, place, 4).map((value) => value / CLIP_STEPS), pose.rotations[joint]);
    });
    clip.moved.forEach((joint, place) => { pose.translations[joint] = part(moves, clip.moved, place, 3); });
    clip.scaled.forEach((joint, place) => { pose.scales[joint] = part(scales, clip.scaled, place, 3); });
    clip.controls.forEach((control, place) => { pose.controls[control] = controls[number * clip.controls.length + place]; });
    return pose;
  };
  return (seconds) => {
    const { times } = clip;
    let upper = times.findIndex((time) => time >= seconds);
    if (upper < 0) upper = times.length - 1;
    if (upper === 0 || times[upper] === seconds) return frame(upper);
    return skeleton.mixed(frame(upper - 1), frame(upper), (seconds - times[upper - 1]) / (times[upper] - times[upper - 1]));
  };
}
