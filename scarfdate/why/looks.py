"""The checks that can still be done, what each promises, and the best of them within a time."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

from scarfdate.answer.doubts import Doubt
from scarfdate.clues.shares_field import LABEL
from scarfdate.show.sentence import percent

if TYPE_CHECKING:
    import pandas


LITTLE = 0.01  # bits: less is not worth a minute


_NUMBERS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip
_OF = (2, 3, 4, 5, 6, 8, 10, 12)  # parts of which a chance is told
_NEAR = 0.03  # a chance is told as a fraction that is as near as this
_NEARLY_ALWAYS = 0.95
_SHOWN = 5  # looks that are printed; `NextLooks.looks` has all
_OF_THE_YEARS = 0.05  # looks that narrow the interval by less than this part of it are only counted
_AT_LEAST = 2  # but so many are printed, the best by bits a minute: they cost next to nothing


@dataclass(frozen=True, kw_only=True)
class Look:
    """One check and what it promises.

    ``words``: what to do, as one says it. ``bits``: expected information on the year. ``narrower``: expected
    years by which the 80 % interval shrinks; below 0 where it grows. ``surer``: expected rise, 0 to 1, of the
    chance that the most probable decade is the right one. ``minutes``, ``harms``, ``caution``: as
    ``checks.csv`` has them. ``there``: the chance, 0 to 1, that what is looked for is there at all, on the label where
    one was noted (``of_label``), else on the piece; what is promised is the mean over both.
    """

    clue: str
    method: str
    words: str
    bits: float
    narrower: float
    surer: float
    minutes: float
    harms: bool
    caution: str
    there: float = 1.0
    of_label: bool = False

    @property
    def years_per_minute(self) -> float:
        """The years that a minute of it can be expected to take off."""
        return self.narrower / self.minutes

    @property
    def bits_per_minute(self) -> float:
        """What a minute of it promises."""
        return self.bits / self.minutes

    @property
    def narrows(self) -> bool:
        """Whether it can be expected to narrow the years by one or more, rounded.

        An interval is whole years: where next to no information is promised, a year more or less is chance.
        """
        return round(self.narrower) >= 1 and self.bits > LITTLE

    def __str__(self) -> str:
        narrower = f"likely to narrow it by {_counted(round(self.narrower), 'year')}"
        more, unless = (
            (", more where its words date it", ", unless its words date it")
            if self.clue == LABEL
            else ("", "")
        )
        return f"{self.words}{self._seldom}, {_time(self.minutes)}: " + (
            f"{narrower}{more}" if self.narrows else f"not likely to narrow the years{unless}"
        )

    @property
    def _seldom(self) -> str:
        """How often it is there, in the plainest fraction; "" where it nearly always is."""
        if self.there > _NEARLY_ALWAYS:
            return ""
        of = min(_OF, key=lambda of: (abs(round(self.there * of) / of - self.there) > _NEAR, of))
        some, what = round(self.there * of), "label" if self.of_label else "piece"
        if not some:
            return f" (there on hardly any {what})"
        return f" (there on about {_counted(some, what)} in {_NUMBERS[of]})"


def _counted(number: int, of: str) -> str:
    said = _NUMBERS[number] if 0 <= number < len(_NUMBERS) else f"{number}"
    return f"{said} {of}" if number == 1 else f"{said} {of}s"


def _time(minutes: float) -> str:
    """Minutes as one says them."""
    if minutes == 1:
        return "a minute"
    if minutes == 0.5:
        return "half a minute"
    return _counted(int(minutes), "minute") if minutes == int(minutes) else f"{minutes:g} minutes"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


@dataclass(frozen=True, kw_only=True)
class NextLooks:
    """What to look at next, the best by years a minute first; ``plan``: the best set within the minutes given.

    ``looks``: those that this piece allows and that are likely to narrow its years, by a year or more;
    ``too_little``: those that it allows and that are not. ``held_back``: harmful or dangerous checks that
    were asked for and are not offered, with the reason. ``again``: what was noted and is more likely wrong than right, to
    be looked at before anything else; ``width``: years of the interval now, from the first to the last. ``plan_bits`` is what the plan promises altogether, a
    mean over draws with ``plan_error`` as its standard error; without minutes there is no plan.
    """

    looks: tuple[Look, ...]
    plan: tuple[Look, ...]
    plan_bits: float
    plan_error: float
    held_back: tuple[tuple[Look, str], ...] = ()
    too_little: tuple[Look, ...] = ()
    again: tuple[Doubt, ...] = ()
    width: int = 0

    def to_frame(self) -> pandas.DataFrame:
        """One row a look of ``looks``."""
        import pandas as pd

        names = [one.name for one in fields(Look)]
        frame = pd.DataFrame([vars(look) for look in self.looks], columns=names)
        place = names.index("minutes") + 1
        frame.insert(place, "bits_per_minute", [look.bits_per_minute for look in self.looks])
        return frame

    def __str__(self) -> str:
        lines = list[str]()
        shown = self._shown()
        for look in shown:
            lines.append(_sentence(f"{look}; it harms the piece" if look.harms else f"{look}"))
            if look.caution:
                lines.append(f"  Take care: {look.caution}.")
        if not lines:
            left = "other look" if self.again else "look that is left"
            lines = [
                f"No {left} is likely to narrow the years."
                if self.too_little or self.held_back or self.again
                else "There is nothing left to look at."
            ]
        rest = [round(look.narrower) for look in self.looks if look not in shown]
        if rest:
            some = _sentence(_counted(len(rest), "other look"))[:-1]
            each = "is" if len(rest) == 1 else "are each"
            lines.append(
                f"{some} {each} likely to narrow it by {_counted(max(rest), 'year')} at most."
            )
        lines[:0] = [
            f"Look again at {doubt.seen}: probably {doubt.wrong} ({percent(doubt.chance)})."
            for doubt in self.again
        ]
        lines += [f"Better not {look.words}: {why}." for look, why in self.held_back]
        if self.plan:
            minutes = sum(look.minutes for look in self.plan)
            names = ", then ".join(look.words for look in self.plan)
            lines.append(f"In {_time(minutes)}: {names}.")
        return "\n".join(lines)

    def _shown(self) -> list[Look]:
        """Those that are printed: the best, what is likely to narrow the years by a part that counts, a label, whose words
        can say more than is foreseen, and what harms, which is among them only where it was asked for."""
        worth = [x for x in self.looks[_AT_LEAST:] if x.narrower >= _OF_THE_YEARS * self.width]
        first = [*self.looks[:_AT_LEAST], *worth][:_SHOWN]
        label = [x for x in (*self.looks, *self.too_little) if x.clue == LABEL]
        return [x for x in self.looks if x in first or x in label or x.harms] + [
            x for x in label if x not in self.looks
        ]

    def _repr_html_(self) -> str:
        from scarfdate.show import page

        return page.view(str(self))
