// A picture goes on with the next state of the files: on the card only what has changed is replaced.

import { offsetLists, regionsOf } from "./skin-lists.js";
import { unpacked } from "./unpacking.js";

const BODY = ["positions", "joints", "weights", "triangles", "copies", "inverses"];

/**
 * Whether the stage can go on with another record; it then has taken it. block: all bytes; changed: names of arrays that
 * are others.
 */
export function goesOn(stage, { record, bytes, changed }) {
  const before = stage.record, array = (name) => unpacked(bytes, record.arrays[name]);
  if (stage.lost || !record.skin || !sameBody(before, record, changed)) return false;
  const { lists, skin, details } = stage, next = record.details;
  Object.assign(stage, { record, block: bytes });
  skin.record = record;
  if (changed.has("region vertices") || changed.has("region weights") || !same(before.skin.regions, record.skin.regions)) {
    lists.regions = regionsOf(record.skin.regions, array("region vertices"), array("region weights"));
  }
  if (changed.has("offset vertices") || changed.has("offsets") || before.skin.columns.length !== record.skin.columns.length) {
    lists.offsets = { vertices: array("offset vertices"), steps: array("offsets") };
    lists.offsetLists = offsetLists(lists.offsets, record.skin.columns, lists.count);
    skin.makeRoom();
    skin.complete();
  }
  const worn = details?.length === next.length && next.every((one, number) => sameClothes(details[number], one, changed));
  if (worn) stage.keepOn(next);
  else stage.undress();
  return true;
}

/** The skin itself, where it stands in the neutral stance, and how it follows its joints. */
function sameBody(before, now, changed) {
  const uv = Object.keys(now.skin.uv);
  return before.skin?.vertices === now.skin.vertices && before.skinning === now.skinning
    && !BODY.some((name) => changed.has(name)) && !uv.some((_, number) => changed.has(`uv ${number}`))
    && same(Object.keys(before.skin.uv), uv) && same(before.skin.binds, now.skin.binds) && same(before.joints, now.joints) && same(before.skin.box, now.skin.box);
}

/** Whether a detail wears the same pictures at the same places. */
function sameClothes(before, now, changed) {
  return [now.maps, ...now.textures].every((name) => !changed.has(name))
    && same({ ...before, folds: [] }, { ...now, folds: [] });
}

function same(one, other) {
  return JSON.stringify(one) === JSON.stringify(other);
}
