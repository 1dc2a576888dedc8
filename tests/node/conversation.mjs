// One conversation with the language server by the libraries that real editors speak with.
// Arguments: `protocol` (vscode-languageserver-protocol) or `codemirror` (@codemirror/lsp-client), the spec, the server's
// command. Prints what the editor's side got.
import { spawn } from "node:child_process";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { pathToFileURL } from "node:url";

const [which, path, program, ...args] = process.argv.slice(2);
const server = spawn(program, args, { stdio: ["pipe", "pipe", "inherit"] });
const ended = new Promise((resolve) => server.on("exit", resolve));
const uri = pathToFileURL(path).href;
const text = readFileSync(path, "utf-8");
const line = text.split("\n").findIndex((one) => one.startsWith("driver "));
const position = { line, character: "driver ".length + 1 };
const textDocument = { uri };

async function byProtocol() {
    // The very library that vscode-languageclient, with which the extension starts the server, speaks with.
    const require = createRequire(createRequire(import.meta.url).resolve("vscode-languageclient/package.json"));
    const lsp = require("vscode-languageserver-protocol/node");
    const connection = lsp.createProtocolConnection(
        new lsp.StreamMessageReader(server.stdout), new lsp.StreamMessageWriter(server.stdin));
    const refreshed = [];
    const found = new Promise((resolve) => connection.onNotification(lsp.PublishDiagnosticsNotification.type, resolve));
    connection.onRequest(lsp.CodeLensRefreshRequest.type, () => void refreshed.push("lenses"));
    connection.onRequest(lsp.RegistrationRequest.type, (asked) => void refreshed.push(asked.registrations[0].method));
    connection.listen();
    const started = await connection.sendRequest(lsp.InitializeRequest.type, {
        processId: process.pid, rootUri: null, workspaceFolders: null,
        capabilities: {
            workspace: { codeLens: { refreshSupport: true }, didChangeWatchedFiles: { dynamicRegistration: true } },
            textDocument: { completion: { completionItem: { snippetSupport: true } } },
        },
    });
    await connection.sendNotification(lsp.InitializedNotification.type, {});
    await connection.sendNotification(lsp.DidOpenTextDocumentNotification.type,
        { textDocument: { uri, languageId: "plica", version: 1, text } });
    const diagnostics = (await found).diagnostics;
    const hover = await connection.sendRequest(lsp.HoverRequest.type, { textDocument, position });
    const items = await connection.sendRequest(lsp.CompletionRequest.type, { textDocument, position: { line, character: 0 } });
    const lenses = await connection.sendRequest(lsp.CodeLensRequest.type, { textDocument });
    const tokens = await connection.sendRequest(lsp.SemanticTokensRequest.type, { textDocument });
    // Given up by the library's own way, which sends what the protocol says for it.
    const source = new lsp.CancellationTokenSource();
    const given = connection.sendRequest(lsp.ExecuteCommandRequest.type,
        { command: "plica.prove", arguments: [uri, 0] }, source.token);
    source.cancel();
    const cancelled = await given.then(() => 0, (error) => error.code);
    const proven = await connection.sendRequest(lsp.ExecuteCommandRequest.type, { command: "plica.prove", arguments: [uri, 0] });
    await connection.sendRequest(lsp.ShutdownRequest.type);
    await connection.sendNotification(lsp.ExitNotification.type);
    return {
        diagnostics: diagnostics.length, hover: hover.contents.value, snippets: items.filter((one) => one.insertTextFormat === 2).length,
        lenses: lenses.map((one) => one.command.title), tokens: tokens.data.length / 5, cancelled,
        proven: proven.map((one) => one.status), refreshed, capabilities: Object.keys(started.capabilities).sort(),
    };
}

async function byCodeMirror() {
    const { LSPClient } = await import("@codemirror/lsp-client");
    const listeners = new Set();
    let held = Buffer.alloc(0);
    server.stdout.on("data", (piece) => {
        held = Buffer.concat([held, piece]);
        for (;;) {
            const head = held.indexOf("\r\n\r\n");
            const length = head < 0 ? NaN : Number(/Content-Length: (\d+)/.exec(held.subarray(0, head))?.[1]);
            if (!(held.length >= head + 4 + length)) return;
            const body = held.subarray(head + 4, head + 4 + length).toString();
            held = held.subarray(head + 4 + length);
            for (const listener of listeners) listener(body);
        }
    });
    const send = (body) => server.stdin.write(`Content-Length: ${Buffer.byteLength(body)}\r\n\r\n${body}`);
    let heard;
    const diagnostics = new Promise((resolve) => (heard = resolve));
    const client = new LSPClient({
        rootUri: uri.slice(0, uri.lastIndexOf("/")), timeout: 60000,
        notificationHandlers: { "textDocument/publishDiagnostics": (_, params) => (heard(params), true) },
    }).connect({
        send, subscribe: (listener) => listeners.add(listener), unsubscribe: (listener) => listeners.delete(listener),
    });
    await client.initializing;
    client.notification("textDocument/didOpen", { textDocument: { uri, languageId: "plica", version: 1, text } });
    const found = (await diagnostics).diagnostics.length;
    const hover = await client.request("textDocument/hover", { textDocument, position });
    const items = await client.request("textDocument/completion", { textDocument, position: { line, character: 0 } });
    const definition = await client.request("textDocument/definition", { textDocument, position });
    const formatted = await client.request("textDocument/formatting", { textDocument, options: { tabSize: 4, insertSpaces: true } });
    await client.request("shutdown", null);
    client.notification("exit", null);
    return { diagnostics: found, hover: hover.contents.value, items: items.length, definition: definition.length,
        formatted, capabilities: Object.keys(client.serverCapabilities).sort() };
}

const result = await (which === "codemirror" ? byCodeMirror() : byProtocol());
process.stdout.write(JSON.stringify({ ...result, code: await ended }));
process.exit(0);
