"""Which known phrase begins at a word of a label, as printed, or misprinted, guessed, or cut off.

A word that no rule knows is read only where one reading alone fits; the phrase then says how.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from scarfdate.reading.label_marks import AS_PRINTED, CUT_OFF, GUESSED, ONE_OFF, Printed
from scarfdate.reading.label_numbers import PER_CENT
from scarfdate.tables.label import AFTER_OPENING, ORIGIN, Entry
from scarfdate.words.phrases import CUT, Phrases, Step

# what a word is not taken for that is not printed in full: too many words are like these
_ONLY_IN_FULL = ("label-part", "city", "state", "founded", AFTER_OPENING)
_CLOTH = ("fibre", "label-part")
_PLACES = (ORIGIN, "city")
_TOGETHER = re.compile(r"[^\S\n]?|-")  # what stands between the words of a cloth: "China silk"
_SHORTEST_END = 2  # letters left of a word that is cut on the left
_SHORTEST_BEGINNING = 3  # letters left of a country that is cut on the right
_SHORTEST = 5  # letters of any other word that is cut or misprinted
# letters of a misprinted word that is all of its line, and of one that nothing bears out: shorter ones are like words of
# some language, and like names
_SHORTEST_ALONE, _SHORTEST_AMONG_OTHERS = 7, 9
_LONGEST_WORD = 24  # letters
_MOST = 40  # words that are tried for one


class Phrase(NamedTuple):
    """A phrase of a label from token ``at`` on: its number of tokens, and where it stands."""

    entry: Entry
    at: int
    length: int
    start: int
    end: int
    how: str


_Match = tuple[Entry, int, bool]  # its meaning, its number of tokens, whether it is misprinted


class LabelPhrases:
    """The known phrases of one label. ``wanted`` below: whether a country is, as behind "made in"."""

    def __init__(self, phrases: Phrases[Entry], printed: Printed) -> None:
        self.phrases, self.tokens, self.mended = phrases, printed.tokens, printed.mended
        self.plain = printed.plain
        self.has_cuts = CUT in printed.plain or ".." in printed.plain

    def at(self, at: int, *, wanted: bool, cut: bool) -> Phrase | None:
        """The phrase that begins at a token; ``cut``: whether the label is cut or illegible."""
        match = self.phrases.longest(self.tokens, at)
        if wanted and self.has_cuts:
            country = self._country_before_a_cut(at)
            if country is not None and (match is None or match[1] < country.length):
                return country
        if match is not None and match[1] > 1 and match[0].mark in _CLOTH:
            match = self._cloth_or_place(at, match, wanted=wanted)
        if match is None and len(self.tokens[at][0]) < _SHORTEST_END:
            return None
        if match is None or (self.has_cuts and match[0].mark == "label-part"):
            behind_a_cut = self._behind_a_cut(at)
            if match is None or behind_a_cut:  # "...de in Jap" is no French
                part = self._part(at, behind_a_cut, wanted=wanted, cut=cut)
                if part is not None or match is None:
                    return part
        entry, length, misprinted = match
        tokens = self.tokens
        if self.mended:
            mended = self.mended.intersection(start for _, start, _ in tokens[at : at + length])
            misprinted = misprinted or bool(mended)
        how = ONE_OFF if misprinted else AS_PRINTED
        return Phrase(entry, at, length, tokens[at][1], tokens[at + length - 1][2], how)

    def city(self, at: int) -> str:
        """The city that is printed from a token on; "" for none."""
        match = self.phrases.longest(self.tokens, at)
        if match is not None and match[0].mark in _CLOTH:
            match = self._cloth_or_place(at, match, wanted=False)
        return match[0].value if match is not None and match[0].mark == "city" else ""

    def _cloth_or_place(self, at: int, match: _Match, *, wanted: bool) -> _Match:
        """The phrase of a cloth; of one named for a place, the place alone where it stands apart."""
        place = self.phrases.longest(self.tokens, at, wanted=_is_place)
        if place is None:
            return match
        # "product of China silk twill": a country goes before a fibre
        is_wanted = wanted and place[0].mark == ORIGIN and match[0].mark == "fibre"
        last = at + place[1]
        end, start = self.tokens[last - 1][2], self.tokens[last][1]
        return place if is_wanted or not _TOGETHER.fullmatch(self.plain, end, start) else match

    def _behind_a_cut(self, at: int) -> bool:
        return self.has_cuts and at > 0 and self.tokens[at - 1][0] == CUT

    def _country_before_a_cut(self, at: int) -> Phrase | None:
        """The one country whose name begins with the words up to a cut: "Hong K...", "occupied Jap..."."""
        tokens, step = self.tokens, self.phrases.first.get(self.tokens[at][0])
        place = at + 1
        while step is not None and place < len(tokens) and tokens[place][0] != CUT:
            before_a_cut = place + 1 < len(tokens) and tokens[place + 1][0] == CUT
            if before_a_cut:
                word = tokens[place][0]
                steps = [one for known, one in step.after.items() if known.startswith(word)]
                return self._only_country(steps, at, place + 1)
            step, place = step.after.get(tokens[place][0]), place + 1
        if step is None or place == len(tokens):
            return None
        return self._only_country([step], at, place)  # "Great..."

    def _only_country(self, steps: list[Step[Entry]], at: int, end: int) -> Phrase | None:
        things: dict[tuple[str, str], Entry] = {}
        while steps:
            step = steps.pop()
            if step.meaning is not None:
                things[step.meaning.mark, step.meaning.value] = step.meaning
            else:  # "Hong K..." is Hong Kong, whatever more there may be
                steps += step.after.values()
        if len(things) != 1 or {mark for mark, _ in things} != {ORIGIN}:
            return None
        (entry,) = things.values()
        return Phrase(entry, at, end - at, self.tokens[at][1], self.tokens[end - 1][2], CUT_OFF)

    def _part(self, at: int, behind_a_cut: bool, *, wanted: bool, cut: bool) -> Phrase | None:
        """A word that is guessed, cut or misprinted, where one reading alone fits."""
        token, spelling = self.tokens[at][0], self.phrases.spelling
        if "?" in token:
            return self._only(at, spelling.fitting(token), GUESSED)
        if len(token) > _LONGEST_WORD or token in PER_CENT:
            return None
        at_end = at + 1 == len(self.tokens)
        if behind_a_cut and len(token) >= _SHORTEST_END:
            # a short end is that of many a name: then more words must follow that make a phrase of it
            least = 1 if len(token) > _SHORTEST else 2
            found = self._only(at, spelling.ending_in(token), CUT_OFF, least)
            if found is not None:
                return found
        before_a_cut = not at_end and self.tokens[at + 1][0] == CUT
        enough = _SHORTEST_BEGINNING if wanted else _SHORTEST  # else it may be a maker's name
        if len(token) >= enough and (before_a_cut or (cut and at_end and wanted)):
            found = self._only(at, spelling.beginning_with(token), CUT_OFF)
            if found is not None:
                return found
        if len(token) >= _SHORTEST and not behind_a_cut:
            words, letters = spelling.misprinted(token), 0 if wanted else self._letters_wanted(at)
            long = all(len(word) >= letters for word in words)
            return self._only(at, words, ONE_OFF, 1 if long else 2)  # more words bear it out
        return None

    def _letters_wanted(self, at: int) -> int:
        """Letters that a word must have to be misprinted here: any number beside a percentage."""
        tokens, sides = self.tokens, []
        for step in (-1, 1):
            place = at + step
            if 0 <= place < len(tokens) and tokens[place][0].isdecimal():
                place += step
            sides.append(tokens[place][0] if 0 <= place < len(tokens) else "")
        if not PER_CENT.isdisjoint(sides):
            return 0
        _, start, end = tokens[at]
        begins = at == 0 or "\n" in self.plain[tokens[at - 1][2] : start]
        ends = at + 1 == len(tokens) or "\n" in self.plain[end : tokens[at + 1][1]]
        return _SHORTEST_ALONE if begins and ends else _SHORTEST_AMONG_OTHERS

    def _only(self, at: int, words: Sequence[str], how: str, least: int = 1) -> Phrase | None:
        """The one phrase of ``least`` tokens or more that one of the words begins with what follows.

        Words that explain more of the text go before the others; None where several things are left.
        """
        if not 0 < len(words) <= _MOST:
            return None
        phrases = (self.phrases.longest(self.tokens, at, instead=word) for word in words)
        matches = [
            (entry, length)
            for entry, length, _ in filter(None, phrases)
            if length >= least and entry.mark not in _ONLY_IN_FULL
        ]
        most = max((length for _, length in matches), default=0)
        things = {(entry.mark, entry.value): entry for entry, length in matches if length == most}
        if len(things) != 1:
            return None
        (entry,), tokens = things.values(), self.tokens
        return Phrase(entry, at, most, tokens[at][1], tokens[at + most - 1][2], how)


def _is_place(entry: Entry) -> bool:
    return entry.mark in _PLACES
