"""An editor that people have, run without a screen: Neovim, which speaks the protocol itself."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from language_client import PATIENCE

pytestmark = pytest.mark.skipif(shutil.which("nvim") is None, reason="Neovim is not installed")

TERMINUS = Path(__file__).parents[2] / "examples" / "harbour-terminus.crank"

SCRIPT = """
local said = {}
local buffer = vim.api.nvim_get_current_buf()
local config = { name = "bellcrank", cmd = COMMAND, root_dir = vim.fn.getcwd() }
local client
if vim.lsp.start then
  client = vim.lsp.start(config)
else
  client = vim.lsp.start_client(config)
  vim.lsp.buf_attach_client(buffer, client)
end

local function with_code(code)
  return vim.tbl_filter(function(d) return d.code == code end, vim.diagnostic.get(buffer))
end

local function wait_for(code)
  vim.wait(MILLISECONDS, function() return #with_code(code) > 0 end, 20)
  local found = with_code(code)[1]
  return found and { found.lnum, found.col, found.message }
end

local function ask(method, params)
  return vim.lsp.buf_request_sync(buffer, method, params, MILLISECONDS)[client].result
end

local function here() return vim.lsp.util.make_position_params(0, "utf-16") end

said.unknown = wait_for("E201")
vim.api.nvim_buf_set_lines(buffer, -2, -1, false, {})
said.verdict = wait_for("proved")
vim.fn.search("expect W1 to T1")
vim.cmd("normal! 2w")
said.hover = ask("textDocument/hover", here()).contents.value
vim.fn.search("decoder K2")
vim.cmd("normal! w")
local params = here()
params.newName = "MAINS"
vim.lsp.util.apply_workspace_edit(ask("textDocument/rename", params), "utf-16")
said.text = table.concat(vim.api.nvim_buf_get_lines(buffer, 0, -1, false), "\\n")
vim.fn.writefile({ vim.fn.json_encode(said) }, "said.json")
vim.cmd("qa!")
"""


def test_errors_the_verdict_what_is_told_and_a_new_name(tmp_path: Path) -> None:
    text = TERMINUS.read_text("utf-8")
    (tmp_path / "quay.crank").write_text(text + "signal XX\n", "utf-8")
    command = json.dumps([sys.executable, "-m", "bellcrank", "editor"]).strip("[]")
    script = SCRIPT.replace("COMMAND", f"{{ {command} }}")
    script = script.replace("MILLISECONDS", str(int(PATIENCE * 1000)))
    (tmp_path / "work.lua").write_text(script, "utf-8")
    done = subprocess.run(
        ["nvim", "--headless", "-u", "NONE", "-c", "luafile work.lua", "-c", "qa!", "quay.crank"],
        cwd=tmp_path,
        env={**os.environ, "XDG_STATE_HOME": str(tmp_path), "XDG_CACHE_HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=4 * PATIENCE,
    )
    assert (tmp_path / "said.json").is_file(), done.stderr
    said = json.loads((tmp_path / "said.json").read_text("utf-8"))
    line, column, message = said["unknown"]
    assert (line, column) == (text.count("\n"), 7)
    assert message.startswith("there is no signal `XX`")
    assert said["verdict"][:2] == [text[: text.index('layout "')].count("\n"), 0]
    assert "conflict: they cross in S1" in said["hover"]
    assert said["text"] == text.replace("K2", "MAINS").rstrip("\n")
    logs = [path.read_text("utf-8") for path in tmp_path.rglob("lsp.log")]
    assert logs
    assert not any("stderr" in log for log in logs), "the server ended without a complaint"
