// Colours lines as VS Code does, by its own library for TextMate grammars.
// node textmate_scopes.cjs MODULES GRAMMAR < TEXT: for each line the scopes of its stretches, as JSON.

const fs = require("fs");
const path = require("path");

const [modules, grammarFile] = process.argv.slice(2);
const need = (name) => require(path.join(modules, name));
const { INITIAL, Registry, parseRawGrammar } = need("vscode-textmate");
const oniguruma = need("vscode-oniguruma");

async function main() {
  const wasm = fs.readFileSync(path.join(modules, "vscode-oniguruma", "release", "onig.wasm"));
  await oniguruma.loadWASM(wasm.buffer.slice(wasm.byteOffset, wasm.byteOffset + wasm.byteLength));
  const registry = new Registry({
    onigLib: Promise.resolve({
      createOnigScanner: (patterns) => new oniguruma.OnigScanner(patterns),
      createOnigString: (text) => new oniguruma.OnigString(text),
    }),
    loadGrammar: async () => parseRawGrammar(fs.readFileSync(grammarFile, "utf8"), grammarFile),
  });
  const grammar = await registry.loadGrammar("source.crank");
  let stack = INITIAL;
  const told = [];
  for (const line of fs.readFileSync(0, "utf8").split("\n")) {
    const found = grammar.tokenizeLine(line, stack);
    stack = found.ruleStack;
    told.push(found.tokens.map((t) => [line.slice(t.startIndex, t.endIndex), t.scopes.at(-1)]));
  }
  console.log(JSON.stringify(told));
}

main();
