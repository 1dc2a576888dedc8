// The findings of the Khronos validator for glTF 2.0 in each of the files given: {file: [[severity, code, pointer, message], ...]}.
import { readFileSync } from "node:fs";
import { dirname, join } from "node:path";
import validator from "gltf-validator";

const found = {};
for (const file of process.argv.slice(2)) {
    const report = await validator.validateBytes(new Uint8Array(readFileSync(file)), {
        uri: file,
        maxIssues: 0,
        writeTimestamp: false,
        externalResourceFunction: async (uri) => new Uint8Array(readFileSync(join(dirname(file), decodeURIComponent(uri)))),
    });
    found[file] = report.issues.messages.map((one) => [one.severity, one.code, one.pointer ?? "", one.message]);
}
console.log(JSON.stringify(found));
