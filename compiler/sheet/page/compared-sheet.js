// The page that opens from disk and shows an earlier state beside the present one.

import { Before } from "./before.js";
import { values as combinedValues } from "./combined.js";
import { inbetweenWeights as earlierWeights, values as earlierValues } from "./earlier.js";
import { failed, start } from "./main.js";
import { inbetweenWeights, values } from "./rig.js";
import { Block, textOf } from "./unpacking.js";

const record = JSON.parse(textOf("record"));
const compare = (view) => new Before(view, { values: earlierValues, inbetweenWeights: earlierWeights });
start({ record, block: new Block(textOf("block"), record), generated: { values, inbetweenWeights, combinedValues }, compare }).catch(failed);
