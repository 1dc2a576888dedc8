// The character's own modules, handed over to the page that asked for them; loaded anew after every change of the rig.

import { values as combinedValues } from "./combined.js";
import { inbetweenWeights, values } from "./rig.js";

globalThis.arrivedModules = { values, inbetweenWeights, combinedValues };
