"""A description in free words ("silk square, hand rolled, 90 x 90 cm, made in Italy") read as clues.

The words are those of the vocabulary, read by the one phrase machine of `scarfdate.reading.medium_reader`. In a free text
most words are of no clue, so that a word counts only where ``descriptions.csv`` lets it: by itself ("silk", "hand rolled"),
or where its family is named beside it ("edges rolled", "made in Italy", "print of birds"). A likeness ("silk look") and
what is not of the piece ("mended with cotton") say nothing; nor do years and decades, which somebody has judged, save the year
of an event ("Olympics 1972") or of a date ("dated 1961").
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property

from scarfdate.errors import ScarfdateError
from scarfdate.reading.cell_years import CellYears
from scarfdate.reading.compounds import Compounds
from scarfdate.reading.medium_clues import Clue, MediumClues
from scarfdate.reading.medium_reader import MediumReader, Statement
from scarfdate.reading.noted import reading_of
from scarfdate.reading.observation import BY_LABEL
from scarfdate.tables.descriptions import NEVER, SEVERAL
from scarfdate.tables.medium import Act, MediumRules, Phrase, Reading
from scarfdate.tables.noted import YEARS
from scarfdate.tables.priors import Priors
from scarfdate.tables.sheet import Basis
from scarfdate.words.phrases import Phrases, Token, medium_tokens, tokens_of
from scarfdate.words.units import read_sides

_LABEL, _LABEL_TEXT, _SIZE, _LONG_SIDE, _HEM = "label", "label_text", "size", "long_side", "hem"
_FORM, _MOTIF, _SQUARE_FORM = "form", "motif", "square"
_CLOTH = ("fibre", "weave")
_WITH_CLOTH = (*_CLOTH, "form")  # "silk twill", "silk square": both words count
_SHORTEST = 3  # letters: shorter words ("in", "it") are a country's only behind what names one
_WORDS = Basis("vocabulary.csv", 0, "common practice", "", "")
_PASSED, _LIKE_LAST, _LIKE_NEXT, _ASIDE = (
    "passed over", "likeness of the last", "likeness of the next", "aside",
)  # fmt: skip
_BREAK = re.compile(r"\s+[-–—•*|]+\s+|[\r\n]+|[•|]")  # a dash between blanks parts what is said
# what stands in quotes; an inch mark is none, for a digit stands before it
_QUOTED = re.compile(r"(?<![\w\"”″])[\"“”„«‹]\s?([^\s\"“”„«»‹›][^\"“”„«»‹›\n]{1,200}?)\s?[\"“”»›]")
# numbers that stand on labels alone
_NUMBERED = re.compile(r"\b(?:RN|WPL)\b[ .#:]*(?:No\.? ?)?\d{3,6}\b|\bCC ?41\b")
_BEFORE_A_QUOTE = 60  # letters in which the label is named
_GONE = "\n..."  # nobody says that a quotation is all of the label; on the line of the quotation its end would be cut
_NUMBER = r"\d{1,3}(?:[.,]\d{1,2})?(?: ?[½¼¾⅛⅜⅝⅞]|[ -]\d/\d{1,2})?"
_UNIT = r"(?:mm|cms?|centim\w+|m(?:et\w+)?|ins?|inch(?:es)?|\"|″|”|''|ft|feet|foot|y(?:ar)?ds?)"
_TIMES = re.compile(
    rf"(?<![\d.,/'’])({_NUMBER}) ?({_UNIT})?(?: ?(?:wide|long|[wlhb]))?\.? ?(?:x|×|\*|by|auf|par|por)\.? ?({_NUMBER}) ?({_UNIT})?(?![\w/'’]|[.,]\d)",
    re.IGNORECASE,
)
_SQUARE = re.compile(
    rf"(?<![\d.,/])({_NUMBER}) ?({_UNIT})\.? ?(?:square|squared|sq\b|carré|quadratisch|im quadrat|quadrato|cuadrado)",
    re.IGNORECASE,
)
_ALONE = re.compile(rf"(?<![\d.,/])({_NUMBER}) ?({_UNIT})(?![\w/]|[.,]\d)", re.IGNORECASE)
_BESIDE = 5  # words behind an event at which its year may stand
_NEAR = 2  # words behind a length that say what it is of: "18 inch macrame fringe"
_SAME = 0.03  # of a side: the same size in another unit


@dataclass(frozen=True, kw_only=True)
class Description:
    """What a free text says of one piece. ``cells``: family to the cells that it fills, by column. ``several``: the text
    is of several pieces, and nothing is read off it."""

    cells: Mapping[str, Mapping[str, object]]
    several: bool


@dataclass(frozen=True, kw_only=True)
class _Phrase(Phrase):
    """``alone``: families of which it is a word by itself; ``claimed``: those of which the very word is one;
    ``names``: those that it names."""

    alone: frozenset[str] = frozenset()
    claimed: frozenset[str] = frozenset()
    names: frozenset[str] = frozenset()


class DescriptionReader:
    """Reads descriptions by the words of some priors."""

    def __init__(self, priors: Priors) -> None:
        self.priors, self.table = priors, priors.words_of_descriptions
        self.families = [one for one in priors.shares if self.table.families.get(one) != NEVER]
        self.heads = self._heads()
        tree: Phrases[Phrase] = Phrases()
        for phrase in self._phrases():
            tree.add(medium_tokens(phrase.text), phrase)
        medium = priors.medium
        self.rules = MediumRules(
            tree=tree, phrases=(), together=medium.together, several=medium.several, leading=medium.leading
        )  # fmt: skip
        self.compounds = Compounds(tree)

    def read(self, text: str) -> Description:
        """What the text says; any text is read, in time that grows with its length."""
        bare, quoted = self._without_quotes(text)
        reader = _Reader(self.rules, self.compounds)
        read = reader.read(_BREAK.sub(" ; ", _SQUARE.sub(" ; ", bare)))  # no squares in the pattern
        if reader.several:
            return Description(cells={}, several=True)
        read.statements = reader.counted()
        clues = MediumClues(self.rules, self.priors.vocabulary, read).all()
        cells: dict[str, dict[str, object]] = {
            family: {family: _cell(clue)} for family, clue in clues.items()
        }
        for family, method in self._printed(clues, read.statements):
            cells[family][f"{family}_method"] = method
        size = _size(bare) or self._one_side(bare)
        if size:
            cells[_SIZE] = {_SIZE: size}
            if _SQUARE.fullmatch(size):
                cells.setdefault(_FORM, {_FORM: _SQUARE_FORM})
        printed = [*quoted, *(one[0] for one in _NUMBERED.finditer(bare))]
        if printed:
            cells[_LABEL_TEXT] = {_LABEL_TEXT: "\n".join(printed) + _GONE}
        cells |= {
            name: {name: year}
            for name, year in reader.years.cells().items()
            if name in self.priors.families
        }
        return Description(cells=cells, several=False)

    def _one_side(self, text: str) -> str:
        """The one length that a text states with its unit, where it is as long as a side usually is: no hem, hole or
        fringe."""
        found = [
            one[0] for one in _ALONE.finditer(text) if not self._of_the_edge(text, *one.span())
        ]
        with suppress(ScarfdateError):
            sides = [read_sides(one, None)[0] for one in found]
            least = self.priors.families[_LONG_SIDE].usual_low
            long = [one for one, side in zip(found, sides, strict=True) if side >= least]
            return long[0].strip() if len(long) == 1 else ""
        return ""

    def _of_the_edge(self, text: str, start: int, end: int) -> bool:
        """Whether a length stands beside a word for the edge: "30 cm fringe"."""
        beside = (*tokens_of(text[:start])[-1:], *tokens_of(text[end:])[:_NEAR])
        return any(self.priors.vocabulary.known(_HEM, word) for word in beside)

    def _printed(
        self, clues: Mapping[str, Clue], statements: Mapping[str, list[Statement]]
    ) -> Iterator[tuple[str, str]]:
        """Shares in per cent were read off a label: nobody feels them."""
        for family in clues:
            known = self.priors.confusion.get(family)
            shares = any(not math.isnan(one.per_cent) for one in statements[family])
            if shares and known is not None and BY_LABEL in known.matrices:
                yield family, BY_LABEL

    def _without_quotes(self, text: str) -> tuple[str, list[str]]:
        """The text without what stands in quotes (a title, a name), and what is quoted from a label."""
        found: list[str] = []

        def gone(quote: re.Match[str]) -> str:
            before = tokens_of(text[max(0, quote.start() - _BEFORE_A_QUOTE) : quote.start()])
            last = max((at for at, one in enumerate(before) if one in ".;"), default=-1)
            if self._named(before[last + 1 :]) & {_LABEL, _LABEL_TEXT}:
                found.append(quote[1].strip())
            return " ; "

        return _QUOTED.sub(gone, text), found

    # --- the words

    def _heads(self) -> dict[tuple[str, ...], str]:
        """The words that name a family: the headings of its columns, and those of the table."""
        headings = self.priors.headings.columns
        heads = {
            tokens_of(text): family
            for text, family in headings.items()
            if family in self.families or family == _LABEL_TEXT
        }
        heads |= {(family,): family for family in self.families}
        heads |= self.table.names
        return {one: family for one, family in heads.items() if one not in self.table.acts}

    def _named(self, words: tuple[str, ...]) -> frozenset[str]:
        """The families that are named in some words."""
        ends = range(1, len(words) + 1)
        parts = (words[start:end] for end in ends for start in range(max(0, end - 4), end))
        return frozenset(self.heads[part] for part in parts if part in self.heads)

    def _phrases(self) -> Iterator[Phrase]:
        """Every phrase, those first that win where two have the same words."""
        for text, says in self.table.acts.values():
            yield _act(text, Act(name=says, amount=math.nan, family="", basis=_WORDS))
        for one in self.priors.doubt:
            if not one.family and one.act.name not in ("quote", "nothing"):
                yield _act(one.word, one.act, self._named(tokens_of(one.word)))
        for phrase in self.priors.medium.phrases:
            if phrase.act is not None and phrase.act.name != "skip":
                yield _act(phrase.text, phrase.act, self._named(tokens_of(phrase.text)))
        yield from self._of_the_vocabulary()
        for words, act in self._of_years.items():
            yield _act(" ".join(words), act)
        for words, family in self.heads.items():
            text = " ".join(words)
            yield _Phrase(text=text, readings=(), methods=(), act=None, names=frozenset({family}))

    @cached_property
    def _of_years(self) -> Mapping[tuple[str, ...], Act]:
        """The words that give a year its column."""
        return {tokens_of(one.word): one.act for one in self.priors.doubt if one.act.name in YEARS}

    def _of_the_vocabulary(self) -> Iterator[Phrase]:
        meant: dict[tuple[str, ...], dict[str, Reading]] = {}
        for family in self.families:
            for word, means in (*self.priors.vocabulary.words(family), *self._with_strokes(family)):
                words = tokens_of(word)
                if not means or not words:
                    continue
                if self.heads.get(words) == family and not self.table.counts_alone(words, family):
                    continue  # "label:" is no label yet
                reading = reading_of(self.priors.vocabulary, family, means)
                if len(word) >= _SHORTEST:
                    meant.setdefault(words, {}).setdefault(family, reading)
                    continue
                for head, its_family in self.heads.items():  # "made in UK"
                    if its_family == family and len(head) > 1:
                        meant.setdefault(head + words, {}).setdefault(family, reading)
        of_cloth = {
            words: {one: reading for one, reading in by.items() if one in _CLOTH}
            for words, by in meant.items()
            if any(self._alone(words, by, one) for one in by if one in _CLOTH)
        }
        for words, by in meant.items():
            if _FORM in by:
                by.pop(_MOTIF, None)  # "square" beside a print is the piece
            named = self._named(words)
            alone = {one for one in by if one in named or self._alone(words, by, one)}
            readings = dict(by)
            if len(by) == 1 and next(iter(by)) in _WITH_CLOTH:
                for one, reading in _within(words, of_cloth).items():
                    if one not in by:
                        readings[one], alone = reading, alone | {one}
            yield _Phrase(
                text=" ".join(words), readings=(*readings.values(),), methods=(), act=self._of_years.get(words),
                alone=frozenset(alone), claimed=frozenset(by), names=named,
            )  # fmt: skip

    def _with_strokes(self, family: str) -> Iterator[tuple[str, str]]:
        """Words that are written with a stroke, which is a sign by itself in a text: "h/r"."""
        known = self.priors.vocabulary
        for row in known.rows.get(family, ()):
            if "/" in row.word:
                yield row.word, known.known(family, row.word) or ""

    def _alone(self, words: tuple[str, ...], by: Mapping[str, Reading], family: str) -> bool:
        """Whether a word counts for a family by itself. One of two families counts for none but that of which the table
        says so."""
        said = self.table.counts_alone(words, family)
        if said is not None:
            return said
        return len(by) == 1 and self.table.by_themselves(words, family)


class _Reader(MediumReader):
    """As a museum's text is read, with what ``descriptions.csv`` says of the words around."""

    def __init__(self, rules: MediumRules, compounds: Compounds) -> None:
        super().__init__(rules)
        self.compounds = compounds
        self.several = False
        self._families: dict[int, set[str]] = {}  # the families that are named, by clause
        self._rest: int | None = None  # the clause of which the rest is not of the piece
        self._unlike = False  # what comes next is a likeness
        self._likeness = False  # what is at hand is one
        self._found: list[tuple[Statement, _Phrase]] = []
        self.years = CellYears(_BESIDE)

    def counted(self) -> dict[str, list[Statement]]:
        """The statements that count, by family."""
        found: dict[str, list[Statement]] = {}
        for one, phrase in self._found:
            family, named = one.reading.family, self._families.get(one.clause, set())
            rival = family in phrase.claimed and phrase.claimed & named
            if family in named if rival else (family in phrase.alone or family in named):
                found.setdefault(family, []).append(one)
        return found

    def _tokens(self, text: str) -> Sequence[Token]:
        return self.compounds.apart(super()._tokens(text))

    def _take(self, phrase: Phrase, *, tight: bool) -> None:
        self._likeness = unlike = self._unlike
        self._unlike = False
        self.years.word(phrase.text)
        super()._take(phrase, tight=tight)
        if not isinstance(phrase, _Phrase):
            return
        if self._rest == self.clause:
            return
        self._families.setdefault(self.clause, set()).update(phrase.names)
        if phrase.readings and not unlike:
            self._found += [(one, phrase) for one in self.last]

    def _unknown(self, token: str) -> None:
        self._unlike = False
        self.years.word(token)
        super()._unknown(token)

    def _connect(self, act: Act, *, tight: bool) -> None:
        if act.name == SEVERAL:
            self.several = True
        elif act.name in YEARS:
            if self._rest != self.clause and not self._likeness:
                self.years.column(act.name)
        elif act.name == _ASIDE:
            self._rest = self.clause
        elif act.name == _LIKE_NEXT:
            self._unlike = True
        elif act.name == _LIKE_LAST:
            gone = {id(one) for one in self.last}
            self._found = [each for each in self._found if id(each[0]) not in gone]
        elif act.name != _PASSED:
            super()._connect(act, tight=tight)
            self.text.has_parts = False  # a comma without a blank is a slip of the pen here


def _within(
    words: tuple[str, ...], of_cloth: Mapping[tuple[str, ...], Mapping[str, Reading]]
) -> Mapping[str, Reading]:
    """What the words of cloth that stand in a longer phrase say, as "silk" in "silk square"."""
    ends = range(1, len(words) + 1)
    parts = [words[start:end] for end in ends for start in range(end) if end - start < len(words)]
    found: dict[str, Reading] = {}
    for part in parts:
        found |= of_cloth.get(part, {})
    return found


def _size(text: str) -> str:
    """The one size that a text states, as it is written; "" where there is none, or two that differ."""
    found = [one[0] for one in (*_TIMES.finditer(text), *_SQUARE.finditer(text))]
    if len(found) == 1:
        return found[0].strip()
    sides = []
    for one in found:
        with suppress(ScarfdateError):
            sides.append((one, sorted(side for side in read_sides(one, None) if side)))
    first = sides[0] if sides else None
    if first is None or len(sides) < len(found):
        return ""
    alike = all(
        len(other) == len(first[1])
        and all(abs(a - b) <= _SAME * b for a, b in zip(other, first[1], strict=True))
        for _, other in sides
    )
    return first[0].strip() if alike else ""


def _cell(clue: Clue) -> object:
    return clue if isinstance(clue, str) else json.dumps(dict(clue))


def _act(word: str, act: Act, names: frozenset[str] = frozenset()) -> Phrase:
    return _Phrase(text=word, readings=(), methods=(), act=act, names=names)
