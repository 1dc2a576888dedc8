// Starts `plica language-server` and leaves everything else to it.
const { workspace } = require("vscode");
const { LanguageClient } = require("vscode-languageclient/node");

let client;

async function activate() {
    const [command, ...args] = workspace.getConfiguration("plica").get("command");
    client = new LanguageClient("plica", "Plica", { command, args }, { documentSelector: [{ language: "plica" }] });
    await client.start();
}

function deactivate() {
    return client?.stop();
}

module.exports = { activate, deactivate };
