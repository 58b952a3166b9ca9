"""The sorting table in a notebook: it shows what `Sorting` says, and hands on what a person does."""

from __future__ import annotations

from pathlib import Path

import anywidget
import traitlets

from scarfdate.sorting.sorting import Sorting

_HERE = Path(__file__).parent


class SortingTable(anywidget.AnyWidget):  # type: ignore[misc]  # it is there only with an extra
    """A stock sheet and a pile of scarves, worked through by keys; `sorting` is what it shows and can be driven
    without a browser.
    """

    _esm = _HERE / "table.js"
    _css = _HERE / "table.css"
    screen = traitlets.Dict().tag(sync=True)

    def __init__(self, sorting: Sorting) -> None:
        self.sorting = sorting
        self._answered = 0
        super().__init__(screen=self._shown())
        self.on_msg(self._hear)

    def _shown(self) -> dict[str, object]:
        """What the page shows; ``answered`` tells it how much of what it sent is in there."""
        return {**self.sorting.screen().to_dict(), "answered": self._answered}

    def _hear(self, _: object, content: object, __: object) -> None:
        """One thing that a person did; what it is not made for changes nothing."""
        sorting = self.sorting
        match content:
            case {"do": "drawing", "name": str(name)}:
                self.send({**sorting.drawing(name), "drawing": name})
                return
            case {"do": "press", "key": str(key)}:
                sorting.press(key)
            case {"do": "type", "text": str(text)}:
                sorting.type(text)
            case {"do": "open", "clue": str(clue)}:
                sorting.open(clue)
            case {"do": "choose", "clue": str(clue), "word": str(word)}:
                sorting.choose(clue, word)
            case {"do": "doubt", "value": float() | int() as value}:
                sorting.doubt(value)
            case {"do": "method", "method": str(method)}:
                sorting.method(method)
            case {"do": "tray", "era": str(era)}:
                sorting.to_tray(era)
        self._answered += 1
        self.screen = self._shown()
