"""What was noted of a piece, in the words of a listing: whole phrases of a table, in one of its languages.

No phrase is bent to fit another: what is put into one is a number, a span of years or a name that stands for
itself, so that the grammar of each language stays as a person wrote it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from scarfdate.answer.listing import (
    YEARS_SAID,
    certain_words,
    fibre_in_words,
    in_centimetres,
    in_figures,
    in_inches,
    sides_of,
)
from scarfdate.clues.bounds import Bounds
from scarfdate.clues.dated import Dated
from scarfdate.clues.label_field import LabelNoted
from scarfdate.clues.measured import Measured
from scarfdate.clues.sides import DERIVED, SIZE, Sides
from scarfdate.conventions import DECIBANS_PER_NAT, FIRST_YEAR, METHOD
from scarfdate.reading.cells import Observed
from scarfdate.reading.observation import Observation
from scarfdate.show.terminal import clean
from scarfdate.tables import listing as table
from scarfdate.tables.priors import Priors

FIBRE = "fibre"
_OF_NUMBER = {"stitches_per_inch": "stitches", "momme": "momme"}
_MOST_ODDS = 100  # more than that nobody can know of what was noted
_LONGEST_QUOTE = 120  # letters of a label that are quoted


def _in_doubt(seen: Observed | None) -> bool:
    """Whether something was noted in doubt: "perhaps acetate" gives no reason."""
    return isinstance(seen, Observation) and seen.word is None


@dataclass(frozen=True, kw_only=True)
class Phrasing:
    """The phrases of some priors in one language."""

    priors: Priors
    language: str

    def say(self, name: str, /, **put_in: object) -> str:
        """A phrase of a description, with what is put in."""
        return self.priors.phrases.say(self.language, table.PHRASE, name, **put_in)

    def heading(self, section: str) -> str:
        """What stands over a section."""
        return self.priors.phrases.say(self.language, table.HEADING, section)

    def photograph(self, name: str) -> str:
        """What is to be photographed."""
        return self.priors.phrases.say(self.language, table.PHOTOGRAPH, name)

    def piece(self) -> str:
        """A piece of which no form was noted."""
        return self.priors.listing.say(self.language, table.PHRASE, "piece")

    def chance(self, chance: float) -> str:
        """A chance in whole per cent; never 0 % or 100 %, which nobody can know."""
        whole = round(100 * chance)
        if 0 < whole < 100:
            return f"{whole} %"
        return self.say("over", n=99) if whole else self.say("under", n=1)

    def reason(self, word: str, decibans: float) -> str:
        """What speaks for the years, with how many times likelier it makes them: "about 3 to 1"; never more than a
        chance of over 99 % says."""
        factor = math.exp(abs(decibans) / DECIBANS_PER_NAT)
        if factor > _MOST_ODDS:
            return self.say("strong reason", word=word, odds=_MOST_ODDS)
        rounded = round(factor, 1) if factor < 10 else float(f"{factor:.2g}")
        return self.say("reason", word=word, odds=in_figures(rounded, self.language))

    def span(self, first: int | None, last: int | None) -> str:
        """Years, both ends inclusive; the first year that is dated to stands for all before it."""
        if first is None or first <= FIRST_YEAR:
            return self.say("until", to=last)
        if last is None:
            return self.say("from on", **{"from": first})
        if first == last:
            return self.say("in", **{"from": first})
        return self.say("between", **{"from": first}, to=last)

    def size(self, seen: Observed | None) -> str:
        """Measured sides in both units, and whether the fringe is in them; "" where none was measured."""
        sides = sides_of(seen)
        if not sides:
            return ""
        text = self.say(
            "both units",
            size=in_centimetres(self.priors, sides, self.language),
            inches=in_inches(sides, self.language),
        )
        fringe = seen.fringe if isinstance(seen, Sides) else ""
        return self.say(f"fringe {fringe}", size=text) if fringe else text

    def word(self, family: str, seen: Observed | None) -> str:
        """What was noted in a family, with how it is known where that is not by looking; "" where there is no word
        for it, or where it was noted in doubt (but for a fibre, of which most people are not certain)."""
        if isinstance(seen, Observation):
            return self._noted(family, seen)
        if isinstance(seen, Measured):
            number = in_figures(float(f"{seen.value:.3g}"), self.language)
            return self.say(_OF_NUMBER.get(family, ""), n=number)
        if isinstance(seen, Dated):
            name = YEARS_SAID.get(family, "")
            return self.priors.listing.say(self.language, table.PHRASE, name, n=seen.year)
        if isinstance(seen, Sides):
            return self.size(seen)
        if isinstance(seen, Bounds) and (seen.first, seen.last) != (None, None):
            return self.say("known", span=self.span(seen.first, seen.last))
        if isinstance(seen, LabelNoted):
            text = self.quote(" / ".join(seen.text.split("\n")))
            return self.say("label text", text=text) if text else ""
        return ""

    def _noted(self, family: str, seen: Observation) -> str:
        if family == FIBRE:
            return fibre_in_words(self.priors, seen, self.language)
        words = (
            self.priors.listing.say(self.language, family, word)
            or self.priors.phrases.say(self.language, family, word)
            for word in certain_words(seen)
        )
        text = ", ".join(filter(None, words))
        if not text or seen.method == METHOD:
            return text
        return self.priors.listing.say(self.language, table.METHOD, seen.method, word=text)

    def quote(self, text: str) -> str:
        """What a person typed, on one line; "" where it is long, or says what no listing may say."""
        line = " ".join(clean(text).split())
        return "" if len(line) > _LONGEST_QUOTE or self.priors.not_said.in_text(line) else line

    def named(self, family: str) -> str:
        """A family by its name; one of somebody's own tables by the name that it has there."""
        own = self.priors.phrases.say(self.language, table.FAMILY, family)
        return own or self.priors.families[family].title

    def clue(self, name: str, seen: Mapping[str, Observed]) -> str:
        """What was noted of a clue and of what is measured with it; its name where there is no word for it."""
        measured = [f.name for f in self.priors.families.values() if f.parent == name]
        parts = [name, *dict.fromkeys(SIZE if each in DERIVED else each for each in measured)]
        words = [self.word(part, seen.get(part)) for part in parts if not _in_doubt(seen.get(part))]
        return ", ".join(filter(None, words)) or self.named(name)
