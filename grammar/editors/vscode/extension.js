// Starts `bellcrank editor` for files ending in .crank, and stops it with the window.

const { workspace } = require("vscode");
const { LanguageClient, TransportKind } = require("vscode-languageclient/node");

let client;

function activate() {
  const command = workspace.getConfiguration("bellcrank").get("command", "bellcrank");
  const server = { command, args: ["editor"], transport: TransportKind.stdio };
  client = new LanguageClient("bellcrank", "Bellcrank", server, {
    documentSelector: [{ language: "crank" }],
  });
  return client.start();
}

function deactivate() {
  return client?.stop();
}

module.exports = { activate, deactivate };
