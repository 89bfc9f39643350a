// The pane that shows an address of this machine: a frame, which may load that and nothing else.

function escaped(text) {
  const signs = { "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" };
  return text.replace(/[&<>"]/g, (sign) => signs[sign]);
}

function frameOf(address, title) {
  const { origin } = new URL(address);
  return `<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy"
  content="default-src 'none'; style-src 'unsafe-inline'; frame-src ${escaped(origin)}">
<title>${escaped(title)}</title>
<style>html, body, iframe { border: 0; height: 100%; margin: 0; padding: 0; width: 100%; }</style>
</head>
<body><iframe src="${escaped(address)}" title="${escaped(title)}"></iframe></body>
</html>
`;
}

module.exports = { frameOf };
