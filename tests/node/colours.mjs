// What a TextMate grammar makes of texts, by vscode-textmate and vscode-oniguruma: the engine of real editors.
// Arguments: the grammar, then texts. Prints, for each text, each line's tokens: the stretch and its outermost scope.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

const require = createRequire(import.meta.url);
const oniguruma = require("vscode-oniguruma");
const textmate = require("vscode-textmate");

await oniguruma.loadWASM(readFileSync(require.resolve("vscode-oniguruma/release/onig.wasm")));
const [grammarPath, ...texts] = process.argv.slice(2);
const registry = new textmate.Registry({
    onigLib: Promise.resolve({
        createOnigScanner: (patterns) => new oniguruma.OnigScanner(patterns),
        createOnigString: (text) => new oniguruma.OnigString(text),
    }),
    loadGrammar: async () => textmate.parseRawGrammar(readFileSync(grammarPath, "utf-8"), grammarPath),
});
const grammar = await registry.loadGrammar("source.plica");
const result = texts.map((path) => {
    let state = textmate.INITIAL;
    return readFileSync(path, "utf-8")
        .split("\n")
        .map((line) => {
            const read = grammar.tokenizeLine(line, state);
            state = read.ruleStack;
            return read.tokens.map((one) => [line.slice(one.startIndex, one.endIndex), one.scopes[1] ?? ""]);
        });
});
process.stdout.write(JSON.stringify(result));
