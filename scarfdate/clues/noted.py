"""The cells of a family of words that are no plain word: what they say of it, and of its neighbours.

A cell is read strictly first (`Field.reads`); only what is refused there comes here, so that a table of known
words costs nothing more.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from scarfdate.clues.field import AsNoted
from scarfdate.errors import ScarfdateError, nearest
from scarfdate.reading.cells import is_blank
from scarfdate.reading.label import read_label
from scarfdate.reading.noted import Noted, NotedWords
from scarfdate.reading.observation import Observation, read_method, read_observation
from scarfdate.tables.priors import Priors
from scarfdate.tables.words import plain
from scarfdate.words.phrases import tokens_of

LABEL, LABEL_TEXT, _SOME_LABEL, NONE_SEEN = "label", "label_text", "label", "none-seen"
_INTACT, _CUT, _GONE = "intact", "cut-or-fragment", "..."
_OF_PARTS = ("fibre", "motif")  # of which a listing says all that is named
_KEPT = 1000  # cells; what others come to is worked out again
_BETWEEN = " … "  # what is understood between two parts that are not
_SIGNS = " \t\r\n.,;:-–—()[]\"'“”„«»/"


class WordCells:
    """Reads the cell and the method of one family of words as people write them."""

    def __init__(self, priors: Priors, family: str) -> None:
        self.priors, self.family = priors, family
        self.words = NotedWords(priors, family)
        self._words: dict[str, str | None] = {}

    def read(self, cell: object, method: object) -> AsNoted | None:
        """None where the cells are no text that could be understood."""
        if not isinstance(cell, str) or cell.lstrip().startswith("{"):
            return None
        text, how = cell, method
        if not is_blank(method):
            if not isinstance(method, str):
                return None
            try:
                read_method(self.priors, self.family, method)
            except ScarfdateError:
                looked = self.words.read(method)
                if looked is None or looked.unread or not looked.text.phrases:
                    return None
                text, how = f"{cell} ({method})", None  # "silk", "burn test?" or "guess"
        noted = self.words.read(text)
        if noted is None or (noted.unread and self._is_slip(cell)):
            return None
        if self.family == LABEL:
            return self._label(text, noted)
        value = self._observed(noted.clue, noted.method or how)
        if value is not None and self.family in _OF_PARTS:
            value = replace(value, parts=self._side_by_side(noted))
        others = _plain(noted.others)
        if value is None and not others and not noted.remarks and not noted.nothing:
            return None
        unread = _BETWEEN.join(noted.unread)
        return AsNoted(value, noted.remarks, others, unread)

    def word(self, cell: object) -> str | None:
        """The one word that a cell comes to; None where it is in doubt, says several things, or is not understood."""
        if not isinstance(cell, str):
            return None
        if cell not in self._words:
            noted = self.read(cell, None)
            value = None if noted is None or noted.unread else noted.value
            if len(self._words) > _KEPT:
                self._words.clear()
            self._words[cell] = value.word if isinstance(value, Observation) else None
        return self._words[cell]

    def _is_slip(self, cell: str) -> bool:
        """Whether the whole is a word of the family with a slip of the pen: not "hand" in "hand rolld"."""
        return bool(nearest(plain(cell), self.priors.vocabulary.values[self.family]))

    def _observed(self, clue: object, method: object) -> Observation | None:
        plain = dict(clue) if isinstance(clue, Mapping) else clue
        return read_observation(self.priors, self.family, plain, method)

    def _side_by_side(self, noted: Noted) -> tuple[tuple[str, float], ...]:
        """The words that are named for certain, none instead of another, with their per cent; of one none."""
        named = noted.text.statements.get(self.family, [])
        certain = all(
            one.sure == 1 and not one.denied and len(one.reading.terms) == 1 for one in named
        )
        if not certain or noted.unread or len({one.choice for one in named}) < len(named):
            return ()
        shares: dict[str, float] = {}
        for one in named:
            word = one.reading.terms[0][0]
            shares[word] = shares.get(word, 0.0) + one.per_cent
        return tuple(shares.items()) if len(shares) > 1 else ()

    def _values(self, clue: object) -> tuple[str, ...]:
        known = self.priors.vocabulary
        return known.children(self.family, clue) if isinstance(clue, str) else ()

    def _label(self, text: str, noted: Noted) -> AsNoted | None:
        """The state of a label, and what is printed on it, which people write into one cell, copied or described."""
        others = _plain(noted.others)
        none = noted.described and noted.clue == NONE_SEEN  # "keine Pflegezeichen"
        left_out = noted.described[0].phrase if none else noted.left_out
        if noted.described and not none:
            return self._described(text, noted, others)
        if left_out and not noted.unread:
            told = f"{LABEL}: {left_out!r} is denied or in doubt, and counts for nothing"
            state = None if none else noted.clue
            return AsNoted(self._observed(state, None), (*noted.remarks, told), others, "")
        if not noted.unread and noted.quoted is None:
            if noted.clue is None and not others and not noted.nothing:
                return None
            state = noted.clue or (_SOME_LABEL if others else None)
            return AsNoted(self._observed(state, None), noted.remarks, others, "")
        printed = text[noted.quoted :] if noted.quoted is not None else _rest(text, noted)
        printed = _bare(printed)
        marks = read_label(printed, priors=self.priors).marks if printed else ()
        if printed and not marks and _CUT in self._values(noted.clue):
            printed = f"{_GONE}{printed}{_GONE}"  # "partial: Made in Jap" ends within a word
            marks = read_label(printed, priors=self.priors).marks
            printed = printed if marks else _bare(printed)
        value = self._observed(noted.clue or _SOME_LABEL, None)
        if marks:
            return AsNoted(value, noted.remarks, {LABEL_TEXT: printed, **others}, "")
        if noted.clue is None and not others:
            return None
        return AsNoted(value, noted.remarks, others, printed)

    def _described(self, text: str, noted: Noted, others: dict[str, object]) -> AsNoted:
        """What is told of a label, as "zip code on tag": each mark stands in brackets for what was not copied, and nobody says
        that it is all of the label. A number that was copied is read as it is: "RN number 60000"."""
        start, end = _ends(text, noted)
        numbered = [
            (mark.start + start, mark.end + start)
            for mark in read_label(text[start:end], priors=self.priors).marks
            if any(map(str.isdecimal, mark.value))
        ]
        pieces, last = [], start
        for one in noted.described:
            if not any(first < one.end and one.start < behind for first, behind in numbered):
                pieces += [text[last : one.start], f"[{one.phrase}]"]
                last = one.end
        printed = _bare(
            "".join([*pieces, text[last:end]]), _SIGNS.replace("[", "").replace("]", "")
        )
        label = read_label(f"{printed}\n{_GONE}", priors=self.priors)
        whole = noted.clue in (None, _SOME_LABEL) and _INTACT in self._values(_SOME_LABEL)
        value = self._observed(_INTACT if whole else noted.clue, None)
        idle = {word for piece in noted.unread for word in tokens_of(piece)}
        unread = _BETWEEN.join(one for one in label.unread if idle.intersection(tokens_of(one)))
        return AsNoted(value, noted.remarks, {LABEL_TEXT: label.text, **others}, unread)


def _ends(text: str, noted: Noted) -> tuple[int, int]:
    """Where what is said of the words of a label begins and ends: without the words for the label itself at its ends."""
    start, end = 0, len(text)
    spans = [(one.start, one.end) for one in noted.text.phrases if {*one.gives} - {"", LABEL_TEXT}]
    for first, last in spans:
        if not text[start:first].strip(_SIGNS):
            start = last
    for first, last in reversed(spans):
        if first >= start and not text[last:end].strip(_SIGNS):
            end = first
    return start, end


def _rest(text: str, noted: Noted) -> str:
    """The cell without the words for the label itself at its ends."""
    start, end = _ends(text, noted)
    return text[start:end]


def _bare(text: str, signs: str = _SIGNS) -> str:
    """A text without the signs around it, save a bracket whose other half is within."""
    bare = text.strip(signs)
    lacking = bare.count("(") - bare.count(")")
    return "(" * -lacking + bare + ")" * lacking


def _plain(clues: Mapping[str, object]) -> dict[str, object]:
    """Weights as plain dictionaries, which a column of a frame can hold."""
    return {name: dict(clue) if isinstance(clue, Mapping) else clue for name, clue in clues.items()}
