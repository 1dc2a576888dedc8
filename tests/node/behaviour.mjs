// node behaviour.mjs MODEL POSES NODE FRAMES: what a behaviour graph makes of the morph targets of a node's mesh.
// POSES: a JSON list; each pose has by number of a node its translation, rotation and scale; others are at rest. FRAMES:
// how many frames of the animation that the graph starts are played first. Prints what the engine says of the graph, the
// influences in each pose, and in each frame those and where all nodes stand; and the milliseconds of a frame.
import { readFileSync } from "node:fs";
import { NullEngine } from "@babylonjs/core/Engines/nullEngine.js";
import { Logger } from "@babylonjs/core/Misc/logger.js";
import { Scene } from "@babylonjs/core/scene.js";
import { FreeCamera } from "@babylonjs/core/Cameras/freeCamera.js";
import { Quaternion, Vector3 } from "@babylonjs/core/Maths/math.vector.js";
import { AppendSceneAsync } from "@babylonjs/core/Loading/sceneLoader.js";
import "@babylonjs/core/Animations/animatable.js";
import "@babylonjs/loaders/glTF/2.0/index.js";
import { GetKHRInteractivityImportResult } from "@babylonjs/loaders/glTF/2.0/Extensions/KHR_interactivity.pure.js";

Logger.LogLevels = Logger.NoneLogLevel; // the standard output is for the answer
const [model, poses, meshNode, frames] = process.argv.slice(2);
const engine = new NullEngine();
const scene = new Scene(engine);
scene.useConstantAnimationDeltaTime = true;
new FreeCamera("camera", new Vector3(0, 0, -5), scene);
await AppendSceneAsync(new Uint8Array(readFileSync(model)), scene, { pluginExtension: ".glb", name: "model.glb" });
await scene.whenReadyAsync();
const imported = GetKHRInteractivityImportResult(scene);
const first = imported.graphs[0];
const placed = imported.glTF.nodes.map((node) => node._babylonTransformNode);
const targets = scene.meshes.filter((mesh) => mesh.morphTargetManager).map((mesh) => mesh.morphTargetManager);
const shown = imported.glTF.nodes[Number(meshNode)]._primitiveBabylonMeshes[0].morphTargetManager;
const influences = () => Array.from({ length: shown.numTargets }, (_, index) => shown.getTarget(index).influence);

const played = [];
for (let frame = 0; frame < Number(frames); frame++) {
  scene.render();
  const nodes = placed.map((node) => node && {
    translation: node.position.asArray(), rotation: node.rotationQuaternion?.asArray() ?? [0, 0, 0, 1], scale: node.scaling.asArray(),
  });
  played.push({ nodes, influences: influences() });
}
for (const group of scene.animationGroups) group.stop();

const rest = JSON.parse(JSON.stringify(imported.glTF.nodes.map(({ translation, rotation, scale }) => ({ translation, rotation, scale }))));
const put = (pose) => placed.forEach((node, index) => {
  if (!node) return;
  const part = { ...rest[index], ...pose[index] };
  node.position.fromArray(part.translation ?? [0, 0, 0]);
  node.rotationQuaternion ??= new Quaternion();
  node.rotationQuaternion.set(...(part.rotation ?? [0, 0, 0, 1]));
  node.scaling.fromArray(part.scale ?? [1, 1, 1]);
});
const asked = JSON.parse(readFileSync(poses, "utf8"));
const found = asked.map((pose) => { put(pose); scene.render(); return influences(); });
const spent = (count) => {
  const start = process.cpuUsage();
  for (let frame = 0; frame < count; frame++) { put(asked[frame % asked.length]); scene.render(); }
  const { user, system } = process.cpuUsage(start);
  return (user + system) / 1000 / count;
};
const count = Number(process.env.FRAMES_TIMED ?? 0);
const times = count ? [spent(50), spent(count), (first.coordinator.dispose(), spent(count))].slice(1) : [];
process.stdout.write(JSON.stringify({
  valid: first.graph.valid, diagnostics: first.diagnostics, managers: targets.length, found, played, times,
}), () => process.exit(0));
