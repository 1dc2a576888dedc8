// A camera that looks at a place from around it, upright; turned by mouse, touch and keys.

import { cross, dot, unit } from "./algebra.js";

const FIELD = 0.6;
const STEEPEST = 1.45;
const KEYS = {
  ArrowLeft: [-0.12, 0], ArrowRight: [0.12, 0], ArrowUp: [0, 0.12], ArrowDown: [0, -0.12],
};

export const STANDPOINTS = { front: [0, 0.05], slant: [0.5, 0.14], side: [Math.PI / 2, 0.05], back: [Math.PI, 0.05], above: [0.3, 1.1] };

export class Camera {
  constructor(centre, extent) {
    this.home = { centre, distance: 1.32 * extent / Math.tan(FIELD / 2) };
    this.extent = extent;
    this.stand("slant");
  }

  /** Stand where the whole is seen from a named side. */
  stand(name) {
    [this.turn, this.tilt] = STANDPOINTS[name];
    this.centre = [...this.home.centre];
    this.distance = this.home.distance;
  }

  /** Look at a place from outside the skin there. */
  lookAt(place, normal) {
    this.centre = [...place];
    this.distance = 0.4 * this.home.distance;
    this.turn = Math.atan2(normal[0], normal[2]);
    this.tilt = Math.min(Math.max(Math.asin(Math.min(Math.max(normal[1], -1), 1)), -0.7), 0.7);
  }

  move(turn, tilt) {
    this.turn += turn;
    this.tilt = Math.min(Math.max(this.tilt + tilt, -STEEPEST), STEEPEST);
  }

  zoom(factor) {
    this.distance = Math.min(Math.max(this.distance * factor, 0.1 * this.extent), 6 * this.home.distance);
  }

  /** Shift what is looked at across the picture, in shares of its height. */
  shift(right, up) {
    const { right: across, up: upward } = this.axes(), step = 2 * Math.tan(FIELD / 2) * this.distance;
    this.centre = this.centre.map((value, axis) => value + step * (right * across[axis] + up * upward[axis]));
  }

  axes() {
    const c = Math.cos(this.tilt);
    const back = [c * Math.sin(this.turn), Math.sin(this.tilt), c * Math.cos(this.turn)];
    const right = unit(cross([0, 1, 0], back));
    return { back, right, up: cross(back, right) };
  }

  eye() {
    const { back } = this.axes();
    return this.centre.map((value, axis) => value + this.distance * back[axis]);
  }

  /** The matrix from model space to the picture, in columns. `pixel`: that one alone fills the target. */
  matrix(width, height, pixel) {
    const { back, right, up } = this.axes(), eye = this.eye();
    const aspect = width / height, narrow = aspect < 1 ? aspect : 1;
    const f = narrow / Math.tan(FIELD / 2), near = 0.02 * this.distance, far = 10 * this.distance + 10 * this.extent;
    const m = new Float32Array(16);
    [[right, f / aspect], [up, f]].forEach(([axis, size], row) => {
      for (let column = 0; column < 3; column += 1) m[4 * column + row] = size * axis[column];
      m[12 + row] = -size * dot(axis, eye);
    });
    const depth = (far + near) / (near - far), away = dot(back, eye);
    for (let column = 0; column < 3; column += 1) { m[4 * column + 2] = depth * back[column]; m[4 * column + 3] = -back[column]; }
    m[14] = -depth * away + 2 * far * near / (near - far);
    m[15] = away;
    if (pixel) {
      const across = width - 2 * pixel[0] - 1, down = height - 2 * (height - 1 - pixel[1]) - 1;
      for (let column = 0; column < 16; column += 4) {
        m[column] = width * m[column] + across * m[column + 3];
        m[column + 1] = height * m[column + 1] + down * m[column + 3];
      }
    }
    return m;
  }
}

/** Lets a person turn the camera over `element`; `changed` after each step, `picked(x, y)` where it was only touched. */
export function steer(element, camera, changed, picked) {
  const held = new Map();
  let travelled = 0, spread = 0;
  element.addEventListener("pointerdown", (event) => {
    element.setPointerCapture(event.pointerId);
    held.set(event.pointerId, [event.clientX, event.clientY]);
    if (held.size === 1) travelled = 0;
    spread = 0;
  });
  element.addEventListener("pointermove", (event) => {
    const last = held.get(event.pointerId);
    if (!last) return;
    const across = event.clientX - last[0], down = event.clientY - last[1];
    travelled += Math.abs(across) + Math.abs(down);
    held.set(event.pointerId, [event.clientX, event.clientY]);
    if (held.size > 1) {
      const [a, b] = [...held.values()], now = Math.hypot(a[0] - b[0], a[1] - b[1]);
      if (spread) camera.zoom(spread / now);
      spread = now;
    } else if (event.shiftKey || event.buttons === 4) {
      camera.shift(-across / element.clientHeight, down / element.clientHeight);
    } else {
      camera.move(-0.008 * across, 0.008 * down);
    }
    changed();
  });
  const released = (event) => {
    const was = held.delete(event.pointerId);
    if (was && event.type === "pointerup" && travelled < 5) picked(event.clientX, event.clientY);
  };
  element.addEventListener("pointerup", released);
  element.addEventListener("pointercancel", released);
  element.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && document.activeElement !== element) return;   // the page scrolls until the picture is chosen
    event.preventDefault();
    camera.zoom(Math.exp(0.0012 * event.deltaY));
    changed();
  }, { passive: false });
  element.addEventListener("keydown", (event) => {
    const step = KEYS[event.key];
    if (step && event.shiftKey) camera.shift(Math.sign(step[0]) * 0.05, Math.sign(step[1]) * 0.05);
    else if (step) camera.move(...step);
    else if (event.key === "+" || event.key === "=") camera.zoom(0.87);
    else if (event.key === "-") camera.zoom(1.15);
    else if (event.key === "Home") camera.stand("slant");
    else return;
    event.preventDefault();
    changed();
  });
}
