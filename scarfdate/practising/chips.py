"""`chips_table`: bets by sliders in a notebook. All that they mean is the round's; here is only what is pressed."""

from __future__ import annotations

from html import escape
from importlib import import_module
from typing import TYPE_CHECKING, Any

from scarfdate.conventions import FIRST_YEAR
from scarfdate.errors import ScarfdateError, needed
from scarfdate.practising.bet import CHIPS

if TYPE_CHECKING:
    from scarfdate.practising.practice import Practice
    from scarfdate.practising.round import Round

_DECADE = 10


def chips_table(practice: Practice) -> Any:
    """The open round with sliders below it: one a decade for chips, or one with two ends for an interval.

    Sliders are moved by the arrow keys, and reached by the tabulator. Raises ScarfdateError where the extra
    ``notebooks`` is not installed; it is an ImportError, too.
    """
    needed("ipywidgets", "notebooks", "betting by sliders")
    return _ChipsTable(practice, import_module("ipywidgets")).box


class _ChipsTable:
    """What stands on the page, and what happens when a button is pressed."""

    def __init__(self, practice: Practice, widgets: Any) -> None:
        self.practice, self.widgets = practice, widgets
        self.seen, self.said = widgets.HTML(), widgets.HTML()
        self.lay = widgets.Button(description="Lay the bet")
        self.lay.on_click(lambda _: self._pressed())
        as_of = practice.settings.as_of
        if practice.table.bet == "interval":
            self.sliders = [
                widgets.IntRangeSlider(
                    value=(FIRST_YEAR, as_of), min=FIRST_YEAR, max=as_of, description="years",
                    layout=widgets.Layout(width="100%"),
                )
            ]  # fmt: skip
        else:
            self.sliders = [
                widgets.IntSlider(
                    value=0, min=0, max=CHIPS, description=f"{decade}s",
                    layout=widgets.Layout(width="100%", max_width="30em"),
                )
                for decade in range(FIRST_YEAR, as_of + 1, _DECADE)
            ]  # fmt: skip
        for slider in self.sliders:
            slider.observe(lambda _: self._count(), names="value")
        self.box = widgets.VBox([self.seen, *self.sliders, self.said, self.lay])
        self.round: Round | None = None
        self._deal()

    def _deal(self) -> None:
        """The next round, or what all of them came to."""
        try:
            self.round = self.practice.round()
        except ScarfdateError:
            self.round = None
        self._show()

    def _show(self) -> None:
        at = self.round
        self.seen.value = (self.practice.summary() if at is None else at)._repr_html_()
        over = at is None or at.over
        for slider in self.sliders:
            slider.disabled = over
        self.lay.description = "The next piece" if over else "Lay the bet"
        self.lay.layout.display = "none" if at is None else ""
        self._count()

    def _count(self) -> None:
        """How many chips are left; the button waits until all are laid."""
        at = self.round
        if at is None or at.over or self.practice.table.bet == "interval":
            self.said.value, self.lay.disabled = "", at is None
            return
        left = CHIPS - sum(slider.value for slider in self.sliders)
        too_many = f"{-left} too many: take some back" if left < 0 else f"{left} left to lay"
        self.said.value = "All ten chips are laid." if left == 0 else f"Chips: {too_many}."
        self.lay.disabled = left != 0

    def _bet(self) -> object:
        if self.practice.table.bet == "interval":
            return tuple(self.sliders[0].value)
        decades = range(FIRST_YEAR, self.practice.settings.as_of + 1, _DECADE)
        laid = zip(decades, self.sliders, strict=True)
        return {decade: slider.value for decade, slider in laid if slider.value}

    def _pressed(self) -> None:
        at = self.round
        if at is None or at.over:
            self._deal()
            return
        try:
            at.bet(self._bet())
        except ScarfdateError as error:
            self.said.value = escape(str(error))
            return
        self._show()
