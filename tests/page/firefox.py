"""Debian's firefox, driven by WebDriver BiDi (a W3C working draft), which it speaks itself.

Playwright drives a firefox of its own making alone; this one is what people have. A command is a
message of JSON with a number, which its answer bears too; what the browser tells unasked, such as
a line of its console, comes in between.
"""

from __future__ import annotations

import json
import re
import shutil
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from threading import Thread
from typing import Any

from websockets.sync.client import ClientConnection, connect

FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")

LONGEST = 20.0
"""Seconds after which an answer of the browser, or what is waited for, does not come any more."""

SAVED = "saved"
"""In the folder of what it keeps, that of what it saves."""

MIDDLE = """(selector, text) => {
  const found = [...document.querySelectorAll(selector)];
  const of = found.find((each) => text === "" || each.textContent === text);
  if (of.getTotalLength) {
    const { x, y } = of.getPointAtLength(of.getTotalLength() / 2);
    const shown = new DOMPoint(x, y).matrixTransform(of.getScreenCTM());
    return [shown.x, shown.y];
  }
  of.scrollIntoView({ block: "nearest" });
  const { left, top, width, height } = of.getBoundingClientRect();
  return [left + width / 2, top + height / 2];
}"""
"""Where a line of the picture or a button is on the screen; a button is brought there first."""

AWAITED = """(ms, asked) => new Promise((resolve, reject) => {
  const late = performance.now() + ms;
  const look = () => {
    if (asked()) resolve(true);
    else if (performance.now() > late) reject(new Error(`never ${asked}`));
    else requestAnimationFrame(look);
  };
  look();
})"""


class FirefoxPage:
    """One page in a window of its own."""

    def __init__(self, firefox: Firefox, width: int, height: int) -> None:
        self._firefox = firefox
        self._of = firefox.call("browsingContext.create", type="tab")["context"]
        self._in_page("browsingContext.setViewport", viewport={"width": width, "height": height})

    def _in_page(self, method: str, **params: object) -> dict[str, Any]:
        return self._firefox.call(method, context=self._of, **params)

    def open(self, path: Path, shown: str = "") -> None:
        """Show a file and wait until its script has all in place. shown: what stands behind the #
        of its address."""
        url = f"{path.as_uri()}{shown}"
        self._in_page("browsingContext.navigate", url="about:blank", wait="complete")
        self._in_page("browsingContext.navigate", url=url, wait="complete")
        self.wait_until('document.body.dataset.ready === "yes"')

    def reload(self) -> None:
        """Load the file again, as the key does."""
        self._in_page("browsingContext.reload", wait="complete")
        self.wait_until('document.body.dataset.ready === "yes"')

    def value(self, expression: str) -> Any:
        """What JavaScript comes to: a text, a number, a truth or a list of such."""
        answer = self._firefox.call(
            "script.evaluate",
            expression=expression,
            target={"context": self._of},
            awaitPromise=True,
        )
        if answer["type"] == "exception":
            raise AssertionError(answer["exceptionDetails"]["text"])
        return _plain(answer["result"])

    def wait_until(self, expression: str) -> None:
        """Until it is true; an AssertionError if it never is."""
        self.value(f"({AWAITED})({1000 * LONGEST}, () => {expression})")

    def text(self, selector: str) -> str:
        """What is to be read in the first that is found."""
        return str(self.value(f"document.querySelector({json.dumps(selector)}).innerText"))

    def texts(self, selector: str) -> list[str]:
        """What is to be read in each that is found."""
        found = f"document.querySelectorAll({json.dumps(selector)})"
        return list(self.value(f"[...{found}].map((each) => each.textContent)"))

    def give_file(self, selector: str, path: Path) -> None:
        """As if somebody had chosen a file of this machine."""
        answer = self._firefox.call(
            "script.evaluate",
            expression=f"document.querySelector({json.dumps(selector)})",
            target={"context": self._of},
            awaitPromise=False,
        )
        element = {"sharedId": answer["result"]["sharedId"]}
        self._in_page("input.setFiles", element=element, files=[str(path)])

    def choose(self, selector: str, label: str) -> None:
        """The option with this label, in the first list that is found."""
        self.value(
            f"""(() => {{
              const list = document.querySelector({json.dumps(selector)});
              const found = [...list.options].find((each) => each.label === {json.dumps(label)});
              list.value = found.value;
              list.dispatchEvent(new Event("change", {{ bubbles: true }}));
            }})()"""
        )

    def click(self, selector: str, text: str = "") -> None:
        """Press and release the button of the mouse where the first that is found is seen.

        text: what it says, if not any will do.
        """
        x, y = self.value(f"({MIDDLE})({json.dumps(selector)}, {json.dumps(text)})")
        steps = [
            {"type": "pointerMove", "x": round(x), "y": round(y)},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerUp", "button": 0},
        ]
        self._in_page(
            "input.performActions", actions=[{"type": "pointer", "id": "mouse", "actions": steps}]
        )

    def close(self) -> None:
        """Close the window."""
        self._in_page("browsingContext.close")


class Firefox:
    """A browser without a window of its own on the screen."""

    def __init__(self, connection: ClientConnection) -> None:
        self._connection = connection
        self._numbers = count(1)
        self.console: list[str] = []
        self.saved = Path()
        self.call("session.new", capabilities={})
        self.call("session.subscribe", events=["log.entryAdded"])

    def call(self, method: str, **params: object) -> dict[str, Any]:
        """The result of a command; an AssertionError with what the browser says if it has none."""
        number = next(self._numbers)
        self._connection.send(json.dumps({"id": number, "method": method, "params": params}))
        while True:
            message = json.loads(self._connection.recv(timeout=2 * LONGEST))
            # The browser's own code has things to say as well, but of no page.
            if message.get("method") == "log.entryAdded" and message["params"]["source"].get(
                "context"
            ):
                self.console.append(str(message["params"]["text"]))
            if message.get("id") == number:
                assert message["type"] == "success", f"{method}: {message}"
                result: dict[str, Any] = message["result"]
                return result

    @contextmanager
    def opened(self, path: Path, *, width: int, height: int = 900) -> Iterator[FirefoxPage]:
        """A page of a file. Fails afterwards if the console has anything to say."""
        self.console.clear()
        page = FirefoxPage(self, width, height)
        try:
            page.open(path)
            yield page
        finally:
            page.close()
        assert self.console == [], "the console has something to say"


@contextmanager
def running_firefox(profile: Path) -> Iterator[Firefox]:
    """Firefox, with an empty folder for what it keeps, and there one for what it saves.

    It ends with the block.
    """
    assert FIREFOX is not None
    wishes = {"browser.download.folderList": 2, "browser.download.dir": str(profile / SAVED)}
    lines = [f"user_pref({json.dumps(k)}, {json.dumps(v)});\n" for k, v in wishes.items()]
    (profile / "user.js").write_text("".join(lines), "utf-8")
    at_work = ["--headless", "--no-remote", "--remote-debugging-port", "0"]
    with subprocess.Popen(
        [FIREFOX, *at_work, "--profile", str(profile), "about:blank"],
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            assert process.stderr is not None
            told = (re.search(r"BiDi listening on (ws://\S+)", line) for line in process.stderr)
            address = next(found[1] for found in told if found)
            # What it goes on telling is read too, so that it never waits for a reader.
            Thread(target=process.stderr.read, daemon=True).start()
            # Its answers may hold whole pages; there is no proxy on the way to this machine.
            with connect(f"{address}/session", max_size=None, proxy=None) as connection:
                firefox = Firefox(connection)
                firefox.saved = profile / SAVED
                yield firefox
                firefox.call("browser.close")
            process.wait(LONGEST)
        finally:
            if process.poll() is None:
                process.send_signal(signal.SIGKILL)


def _plain(value: dict[str, Any]) -> Any:
    if value["type"] == "array":
        return [_plain(each) for each in value["value"]]
    return value.get("value")
