"""The buttons of a panel: what somebody asks who presses them."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from bellcrank.layout.detectors import Input
from bellcrank.live.decisions import Heard
from bellcrank.routes import panel_model as p


class PanelButtons:
    """Remembers the first of two buttons that are pressed one after the other.

    panel: of the layout. starts: the routes from each signal. is_set: whether a route is.
    """

    def __init__(
        self, panel: p.Panel, starts: dict[str, list[str]], is_set: Callable[[str], bool]
    ) -> None:
        self._panel = panel
        self._starts = starts
        self._is_set = is_set
        self._buttons = {button.input: button for button in panel.buttons}
        self._first: p.PlaceButton | None = None

    def pressed(self, input_: Input, who: str) -> Iterator[Heard]:
        """What pressing a button asks for; nothing if a second one is still to be pressed."""
        button = self._buttons[input_]
        first, self._first = self._first, None
        match button:
            case p.RouteButton():
                yield Heard("cancel" if button.cancels else "request", button.route, who=who)
            case p.CancelButton():
                for route in self._starts.get(button.signal, ()):
                    if self._is_set(route):
                        yield Heard("cancel", route, who=who)
            case p.PlaceButton():
                asked = self._panel.asked.get((first.place, button.place)) if first else None
                if asked is not None:
                    yield Heard("request", asked, who=who)
                else:
                    self._first = button
