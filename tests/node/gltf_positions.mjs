// Where three.js puts the vertices of a glTF file. Argument: a JSON file with a list of jobs, each
//   {file, parts: [[node, primitive], ...], poses: [{worlds: {node: 16 numbers by columns}, weights: {node: [...]}}, ...], out}
// or, with `animation` and `times` in the place of `poses`, as a clip moves everything. Positions of all parts one after
// the other, pose by pose, go to `out` as float64. Prints for each job {targets: {node: names}, revision}.
import { readFileSync, writeFileSync } from "node:fs";
import { dirname } from "node:path";
globalThis.self = globalThis;
globalThis.ProgressEvent ??= class {};
const three = await import("three");
const { GLTFLoader } = await import("three/examples/jsm/loaders/GLTFLoader.js");

async function load(file) {
    const bytes = readFileSync(file);
    const buffer = bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength);
    return new GLTFLoader().parseAsync(buffer, dirname(file) + "/");
}

function found(gltf) {
    const nodes = new Map();
    gltf.scene.traverse((object) => {
        const place = gltf.parser.associations.get(object);
        if (place?.nodes !== undefined) nodes.set(place.nodes, object);
    });
    return nodes;
}

function meshesOf(gltf, object) {
    return object.isMesh ? [object] : object.children.filter((child) => child.isMesh && gltf.parser.associations.get(child)?.primitives !== undefined);
}

function positions(gltf, nodes, parts) {
    const result = [];
    const point = new three.Vector3();
    for (const [node, primitive] of parts) {
        const meshes = meshesOf(gltf, nodes.get(node));
        const mesh = meshes.length === 1 ? meshes[0] : meshes.find((one) => gltf.parser.associations.get(one).primitives === primitive);
        for (let index = 0; index < mesh.geometry.attributes.position.count; index++) {
            mesh.getVertexPosition(index, point);
            point.applyMatrix4(mesh.matrixWorld);
            result.push(point.x, point.y, point.z);
        }
    }
    return result;
}

const answers = [];
for (const job of JSON.parse(readFileSync(process.argv[2], "utf-8"))) {
    const gltf = await load(job.file);
    const nodes = found(gltf);
    const skinned = (visit) => nodes.forEach((object) => meshesOf(gltf, object).forEach((mesh) => visit(mesh, object)));
    const values = [];
    if (job.poses) {
        for (const pose of job.poses) {
            gltf.scene.updateMatrixWorld(true);
            for (const [node, matrix] of Object.entries(pose.worlds)) nodes.get(Number(node))?.matrixWorld.fromArray(matrix);
            skinned((mesh, object) => {
                if (mesh !== object) mesh.matrixWorld.copy(object.matrixWorld);
                if (mesh.isSkinnedMesh) mesh.bindMatrixInverse.copy(mesh.matrixWorld).invert();
            });
            for (const [node, weights] of Object.entries(pose.weights))
                for (const mesh of meshesOf(gltf, nodes.get(Number(node)))) mesh.morphTargetInfluences = weights.slice();
            values.push(...positions(gltf, nodes, job.parts));
        }
    } else {
        const mixer = new three.AnimationMixer(gltf.scene);
        mixer.clipAction(gltf.animations[job.animation]).play();
        for (const time of job.times) {
            mixer.setTime(time);
            gltf.scene.updateMatrixWorld(true);
            values.push(...positions(gltf, nodes, job.parts));
        }
    }
    writeFileSync(job.out, Buffer.from(new Float64Array(values).buffer));
    const targets = {};
    nodes.forEach((object, node) => {
        for (const mesh of meshesOf(gltf, object))
            if (mesh.morphTargetDictionary) targets[node] = Object.keys(mesh.morphTargetDictionary);
    });
    answers.push({ targets, revision: three.REVISION });
}
console.log(JSON.stringify(answers));
