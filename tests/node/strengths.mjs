// node strengths.mjs MODULE VECTORS: what a generated module gives in each pose of the vectors, and its own verdict.
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const [path, vectors] = process.argv.slice(2);
const rig = await import(pathToFileURL(path).href);
const content = JSON.parse(readFileSync(vectors, "utf8"));
const handed = [], reads = [];
const host = rig.hostOf(content.vectors.at(-1).pose);
rig.apply({
  ...host,
  localTransform: (joint) => { reads.push(joint); return host.localTransform(joint); },
  setStrength: (...given) => handed.push(given),
});
console.log(JSON.stringify({
  verdict: rig.selfTest(content),
  strengths: content.vectors.map(({ pose }) => [...rig.strengths(rig.hostOf(pose))]),
  handed, reads, joints: rig.JOINTS,
  inbetweens: rig.SHAPES.has("swell") ? [0, 0.25, 0.5, 0.75, 1, 1.5, -0.5].map((w) => rig.inbetweenWeights("swell", w)) : [],
  tables: Object.fromEntries(["REST", "SCALED", "CONTROLS", "WEIGHTS", "SHAPES", "FOLDS"].map((name) => [name, [...rig[name]]])),
}));
