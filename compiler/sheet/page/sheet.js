// The page that opens from disk: everything that it shows stands in it.

import { values as combinedValues } from "./combined.js";
import { failed, start } from "./main.js";
import { inbetweenWeights, values } from "./rig.js";
import { Block, textOf } from "./unpacking.js";

const record = JSON.parse(textOf("record"));
start({ record, block: new Block(textOf("block"), record), generated: { values, inbetweenWeights, combinedValues } }).catch(failed);
