// Starts `bellcrank editor` for files ending in .crank, stops it with the window, and shows the
// picture and the page of a layout beside its text.

const { commands, env, Uri, ViewColumn, window, workspace } = require("vscode");
const { LanguageClient, TransportKind } = require("vscode-languageclient/node");
const { frameOf } = require("./frame");

let client;

async function activate(context) {
  const command = workspace.getConfiguration("bellcrank").get("command", "bellcrank");
  const server = { command, args: ["editor"], transport: TransportKind.stdio };
  client = new LanguageClient("bellcrank", "Bellcrank", server, {
    documentSelector: [{ language: "crank" }],
  });
  context.subscriptions.push(
    commands.registerCommand("bellcrank.showPicture", () => show("bellcrank.picture", "Picture")),
    commands.registerCommand("bellcrank.showPage", () => show("bellcrank.page", "Page")),
  );
  await client.start();
}

/* What a command of the server shows at an address of this machine, in a pane beside the text. */
async function show(command, what) {
  const text = window.activeTextEditor?.document;
  if (text?.languageId !== "crank") {
    window.showInformationMessage("Open a layout first: a file ending in .crank.");
    return;
  }
  const asked = { command, arguments: [text.uri.toString(), false] };
  const { address } = await client.sendRequest("workspace/executeCommand", asked);
  // Where the window runs on another machine than the server, the editor leads there.
  const outside = (await env.asExternalUri(Uri.parse(address))).toString(true);
  const name = text.uri.path.split("/").pop();
  const pane = window.createWebviewPanel(
    "bellcrank",
    `${what} of ${name}`,
    { viewColumn: ViewColumn.Beside, preserveFocus: true },
    { enableScripts: true, retainContextWhenHidden: true },
  );
  pane.webview.html = frameOf(outside, `${what} of ${name}`);
}

function deactivate() {
  return client?.stop();
}

module.exports = { activate, deactivate };
