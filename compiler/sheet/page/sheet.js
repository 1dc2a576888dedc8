// The page that opens from disk: everything that it shows stands in it.

import { values as combinedValues } from "./combined.js";
import { failed, start } from "./main.js";
import { inbetweenWeights, values } from "./rig.js";
import { blockOf, textOf } from "./unpacking.js";

const record = JSON.parse(textOf("record"));
start({ record, block: blockOf(textOf("block")), generated: { values, inbetweenWeights, combinedValues } }).catch(failed);
