"""A cell of words as a person writes it ("silk?", "poly/silk", "maybe hand rolled", "silk twill").

An exact word of the vocabulary never comes here (`scarfdate.reading.observation` knows it). What is left is
read by the one phrase machine of `scarfdate.reading.medium_reader`, with the words of the vocabulary in the
place of museum phrases, and the words of ``doubt.csv``. A word of a neighbouring family ("twill" among
fibres) is handed on to that family. What no table knows is named, and never guessed.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import NamedTuple

from scarfdate.errors import WordError
from scarfdate.reading.cell_years import CellYears
from scarfdate.reading.compounds import Compounds
from scarfdate.reading.medium_clues import Clue, MediumClues
from scarfdate.reading.medium_reader import MediumPhrase, MediumReader, Statement, Text
from scarfdate.reading.observation import BY_LABEL
from scarfdate.tables.medium import Act, MediumRules, Phrase, Reading
from scarfdate.tables.noted import LIKE, NOTHING, QUOTE, YEARS
from scarfdate.tables.priors import Priors
from scarfdate.tables.sheet import Basis
from scarfdate.tables.words import ANY_FAMILY, Vocabulary
from scarfdate.words.phrases import Phrases, Token, medium_tokens, tokens_of

_FIBRE, _WEAVE, _PALETTE, _MOTIF, _LAYOUT = "fibre", "weave", "palette", "motif", "layout"
_PRINT, _FORM, _LABEL, _MAKE = "print_technique", "form", "label", "label_make"
_ON_LABEL, _MOMME = "label_text", "momme"
# whose words stand in the cells of which family, too; a word of the cell's own family comes first
_NEIGHBOURS: Mapping[str, tuple[str, ...]] = {
    _FIBRE: (_WEAVE, _PRINT),
    _WEAVE: (_FIBRE, _PRINT),
    _FORM: (_FIBRE, _WEAVE),
    _PRINT: (_WEAVE,),
    _MOTIF: (_PRINT, _PALETTE, _LAYOUT),
    _PALETTE: (_MOTIF, _LAYOUT),
    _LAYOUT: (_MOTIF, _PALETTE),
    _LABEL: (_MAKE,),
}
# the same, of words that no neighbour has: "cotton bandana", "silk black"
_FURTHER: Mapping[str, tuple[str, ...]] = {
    _FIBRE: (_FORM, _PALETTE),
    _WEAVE: (_FORM, _PALETTE),
    _FORM: (_PRINT, _MOTIF),
    _PRINT: (_FIBRE, _MOTIF),
}
_CLOTH = {_FIBRE, _WEAVE}
Span = tuple[int, int]
_SHORTEST = (
    3  # letters: shorter words ("no", "it") are words of a cell only where they are all of it
)
_WEIGHT = re.compile(
    r"(?<![\w.,/])(\d{1,2}(?:[.,]\d)?) ?(?:mm|momme|mommes|mom)\b\.?", re.IGNORECASE
)
_SHORT_DOUBTED = re.compile(r"\s*([^\W\d_]{1,2})\s*(\?+)\s*")  # "HR?"
# "wool/nylon 80/20": the shares in the order of the words
_IN_ORDER = re.compile(
    r"\s*([^\d/%]{2,40}?)\s*/\s*([^\d/%]{2,40}?)[\s(:,]+(\d{1,2})\s*[/:-]\s*(\d{1,2})\s*%?\s*\)?\s*"
)
_LONGEST = 400  # characters of a cell; a longer one is a note in the wrong column
_KEPT_ACTS = ("and", "or", "stop", "leading", "doubt-next", "doubt-last")
_ONE_COLOUR = "one colour"  # a word of the vocabulary
_SEVERAL_COLOURS = "several colours"  # the parent word of the vocabulary
_WORDS = Basis("vocabulary.csv", 0, "common practice", "", "")


class Noted(NamedTuple):
    """What a cell says. ``clue``: of its own family, None where it says nothing of it; ``method``: how it
    was looked at, or ""; ``others``: clues of neighbouring families; ``remarks``: what a person is to be
    told; ``unread``: what no table knows, as it is typed; ``text``: the statements behind all this;
    ``nothing``: it says no more than that nobody can tell; ``quoted``: where what is printed begins; ``described``: the
    phrases that tell what stands on a label without copying it; ``left_out``: the first that is denied or in doubt."""

    clue: Clue | None
    method: str
    others: Mapping[str, Clue | float]
    remarks: tuple[str, ...]
    unread: tuple[str, ...]
    text: Text
    nothing: bool
    quoted: int | None
    described: tuple[MediumPhrase, ...]
    left_out: str


class NotedWords:
    """Reads the cells of one family."""

    def __init__(self, priors: Priors, family: str) -> None:
        self.priors, self.family = priors, family
        self.vocabulary = priors.vocabulary
        self._remarks: dict[str, str] = {}
        self._own_words: set[tuple[str, ...]] = set()
        tree: Phrases[Phrase] = Phrases()
        for word, phrase in self._phrases():
            tree.add(medium_tokens(word), phrase)
        self.rules = MediumRules(
            tree=tree,
            phrases=(),
            together=priors.medium.together,
            several=priors.medium.several,
            leading=priors.medium.leading,
        )
        self.compounds = Compounds(tree)

    def read(self, text: str) -> Noted | None:
        """What the cell says; None for one that is too long to be a cell of words."""
        if len(text) > _LONGEST:
            return None
        short = _SHORT_DOUBTED.fullmatch(text)
        if short:
            with suppress(WordError):
                text = self.vocabulary.canonical(self.family, short[1]) + short[2]
        shares = _IN_ORDER.fullmatch(text)
        if shares and int(shares[3]) + int(shares[4]) == 100:
            text = f"{shares[3]}% {shares[1]}, {shares[4]}% {shares[2]}"
        momme = _WEIGHT.search(text) if self.family in _CLOTH else None
        if momme is not None:  # "18mm twill": of a cloth, no millimetres
            text = text[: momme.start()] + " " * len(momme[0]) + text[momme.end() :]
        reader = _CellReader(self.rules, self.compounds)
        read = reader.read(text)
        named = read.statements.get(_PALETTE, ())
        if "-" in text and len({one.clause for one in named}) < len(named):
            reader = _CellReader(self.rules, self.compounds)
            read = reader.read(text.replace("-", "/"))  # red-white
        told = _certain(read.statements.pop(_ON_LABEL, ()))
        clues = MediumClues(self.rules, self.vocabulary, read).all()
        colours = self._colours(read.statements.get(_PALETTE, ()))
        if colours is not None:
            clues[_PALETTE] = colours
        remarks = [
            f"{self.family}: {self._remarks[one.phrase]}"
            for one in read.phrases
            if one.gives.get("") == NOTHING and one.phrase in self._remarks
        ]
        if remarks:
            clues.pop(self.family, None)
        years: Mapping[str, int] = {}
        if self.family != _LABEL:  # what stands on a label is read as one
            known = self.priors.families
            years = {name: year for name, year in reader.years.cells().items() if name in known}
            left = reader.years.remark()
            remarks += [f"{self.family}: {left}"] if left else []
        own = self._with_others(clues.pop(self.family, None), read)
        others: dict[str, Clue | float] = {**clues, **years}
        if momme is not None and _MOMME in self.priors.families:
            others[_MOMME] = float(momme[1].replace(",", "."))
        return Noted(
            own,
            read.methods.get(self.family, "") or self._as_printed(own, read),
            others,
            tuple(dict.fromkeys(remarks)),
            as_typed(text, reader.unread_at),
            read,
            _says_nothing(read),
            reader.quoted,
            tuple(one for one in read.phrases if one.gives.get(_ON_LABEL) in told),
            next(
                (
                    one.phrase
                    for one in read.phrases
                    if one.gives.get(_ON_LABEL, "") not in {"", *told}
                ),
                "",
            ),
        )

    def _as_printed(self, own: Clue | None, read: Text) -> str:
        """Shares in per cent were read off a label: nobody feels them."""
        known = self.priors.confusion.get(self.family)
        said = read.statements.get(self.family, ())
        shares = any(one.per_cent == one.per_cent for one in said) and all(
            s.sure == 1 for s in said
        )
        printed = own is not None and shares and known is not None and BY_LABEL in known.matrices
        return BY_LABEL if printed else ""

    def _with_others(self, clue: Clue | None, read: Text) -> Clue | None:
        """The narrower word of the vocabulary for a clue with another thing that is named beside it: "wool with acrylic"
        has the years of acrylic. Of several that of the latest first year."""
        if not isinstance(clue, str):
            return clue
        narrower = self.vocabulary.narrower[self.family]
        named = [
            f"{clue} with {word}"
            for one in read.statements.get(self.family, ())
            if one.sure == 1 and not one.denied
            for word, _ in one.reading.terms
        ]
        known = [word for word in named if word in narrower]
        first = {
            one.value: one.not_before for one in self.priors.limits if one.family == self.family
        }
        return max(known, key=lambda word: first.get(word, -math.inf), default=clue)

    def _phrases(self) -> Iterable[tuple[str, Phrase]]:
        """Every phrase of the cell, those first that win where two have the same words."""
        doubt = self.priors.doubt
        for one in doubt:
            if one.family == self.family:
                means = self.vocabulary.known(self.family, one.word)
                readings = (reading_of(self.vocabulary, self.family, means),) if means else ()
                says = readings if one.act.name in YEARS else ()  # "calendar" is a motif, too
                yield one.word, replace(_act(one.word, one.act), readings=says)
                if one.remark:
                    self._remarks[one.word] = one.remark
        yield from self._words_of(self.family)
        for word in self.priors.label.described if self.family == _LABEL else ():
            reading = Reading(
                family=_ON_LABEL, gives=word, terms=((word, 1.0),), values=frozenset({word}),
                basis=_WORDS,
            )  # fmt: skip
            yield word, Phrase(text=word, readings=(reading,), methods=(), act=None)
        for one in doubt:
            if not one.family:
                yield one.word, _act(one.word, one.act)
        nothing = Act(name=NOTHING, amount=math.nan, family="", basis=_WORDS)
        for word, _ in self.vocabulary.words(ANY_FAMILY):
            if len(word) >= _SHORTEST:
                yield word, _act(word, nothing)
        if self.family in self.priors.confusion:
            known = self.priors.confusion[self.family].matrices
            for word, method in self.vocabulary.words("method"):
                if method in known and len(word) >= _SHORTEST:
                    how = (self.family, method, _WORDS)
                    yield word, Phrase(text=word, readings=(), methods=(how,), act=None)
        neighbours = [f for f in _NEIGHBOURS.get(self.family, ()) if f in self.vocabulary.values]
        claims = Counter(word for f in neighbours for word, _ in self.vocabulary.words(f))
        of_cloth = {self.family} < _CLOTH
        own = {tokens_of(word): phrase.readings for word, phrase in self._words_of(self.family)}
        for family in neighbours:
            for word, phrase in self._words_of(family):
                if claims[word] != 1:  # one that two of them claim would be a guess
                    continue
                if of_cloth and family in _CLOTH:  # "china silk", a weave, is of silk all the same
                    phrase = replace(phrase, readings=(*phrase.readings, *_within(word, own)))
                yield word, phrase
        for family in _FURTHER.get(self.family, ()):
            if family in self.vocabulary.values:
                yield from (one for one in self._words_of(family) if one[0] not in claims)
        for phrase in self.priors.medium.phrases:
            act = phrase.act
            if act is None or act.name not in _KEPT_ACTS:
                continue
            if act.name != "leading" or act.family == self.family:
                yield phrase.text, _act(phrase.text, act)

    def _words_of(self, family: str) -> Iterable[tuple[str, Phrase]]:
        for word, means in self.vocabulary.words(family):
            if means and len(word) >= _SHORTEST:
                reading = reading_of(self.vocabulary, family, means)
                yield word, Phrase(text=word, readings=(reading,), methods=(), act=None)

    def _colours(self, statements: Iterable[Statement]) -> Clue | None:
        """What several colours side by side come to, None where there is one: "pale pink" is one colour,
        "pink/green" two, and two are no single hue for certain."""
        named = [one for one in statements if not one.denied]
        if len({one.clause for one in named}) < 2:
            return None
        several = self.vocabulary.children(_PALETTE, _SEVERAL_COLOURS)
        if several == (_SEVERAL_COLOURS,):
            return None  # tables of one's own without the word
        many = [one for one in named if set(one.reading.values) < set(several)]
        if many:
            return many[0].reading.clue  # "multicoloured with pink"
        leading = self._leading_colour(named)
        if leading is not None:
            return leading
        if len({one.clause for one in named}) > 2:
            return self._each_colour(named, several)
        meant = set(several).union(*(one.reading.values for one in named))
        return {value: 1 / len(meant) for value in sorted(meant)}

    def _each_colour(self, named: Sequence[Statement], several: Sequence[str]) -> Clue:
        """What many colours come to of which none leads: each weighs as much as another, and as much as that they are several,
        by what it stands for beside one hue: "brown, orange, cream" is partly of the earth."""
        alone = self.vocabulary.known(_PALETTE, _ONE_COLOUR)
        said = [sorted(one.reading.values - {alone}) or several for one in named] + [several]
        weights: dict[str, float] = {}
        for values in said:
            for value in values:
                weights[value] = weights.get(value, 0.0) + 1 / len(values) / len(said)
        return dict(sorted(weights.items()))

    def _leading_colour(self, named: Sequence[Statement]) -> Clue | None:
        """What most of several colours stand for, as "brown, rust, cream" for earth; it weighs as much as its part of
        them, the rest goes to several colours. None where nothing leads, or one hue does, which several are not."""
        alone = self.vocabulary.known(_PALETTE, _ONE_COLOUR)
        votes = Counter(value for one in named for value in one.reading.values if value != alone)
        (value, count), *others = votes.most_common(2) or [("", 0)]
        part = count / len(named)
        if 2 * part <= 1 or any(count == second for _, second in others):
            return None
        if part == 1:
            return value
        several = [
            one for one in self.vocabulary.children(_PALETTE, _SEVERAL_COLOURS) if one != value
        ]
        return {value: part, **{one: (1 - part) / len(several) for one in several}}


class _CellReader(MediumReader):
    """As a museum's text is read, save that a doubt or a denial holds until a word takes it, over words that
    are not known, and that a doubt behind all words is of the last: a cell is short, and about one thing."""

    def __init__(self, rules: MediumRules, compounds: Compounds) -> None:
        super().__init__(rules)
        self.compounds = compounds
        self.quoted: int | None = None
        self.unread_at: list[Span] = []
        self.years = CellYears()

    def read(self, text: str) -> Text:
        found = super().read(text)
        if self.next.sure < 1 and not self.like:
            for one in self.before:
                one.sure = min(one.sure, self.next.sure)
        return found

    def _tokens(self, text: str) -> Sequence[Token]:
        return self.compounds.apart(super()._tokens(text))

    def _take(self, phrase: Phrase, *, tight: bool) -> None:
        self.years.word(phrase.text)
        super()._take(phrase, tight=tight)

    def _unknown(self, token: str) -> None:
        self.years.word(token)
        if not token[0].isalpha():
            super()._unknown(token)
            return
        self.text.unread.append(token)
        self.unread_at.append(self.place)

    def _state(self, readings: Iterable[Reading]) -> None:
        earlier = [one for one in self.before if one.clause == self.clause]
        super()._state(readings)
        new = {one.reading.family for one in self.last}
        # "silk twill or rayon": what "or" joins is of the same family, over a word of another
        self.before = [*self.last, *(one for one in earlier if one.reading.family not in new)]

    def _connect(self, act: Act, *, tight: bool) -> None:
        if act.name == QUOTE and self.quoted is None:
            self.quoted = self.text.phrases[-1].end
        if act.name in YEARS:
            self.years.column(act.name)
        if act.name in ("skip", NOTHING, QUOTE, *YEARS):
            return
        self.years.doubted = self.years.doubted or act.name.startswith("doubt")
        if act.name == "doubt-next" and self.next.joined:
            return  # "silk or maybe rayon": "or" has said so
        asked, before = self.next, self.before
        super()._connect(act, tight=tight)
        self.text.has_parts = False  # a comma without a blank is a slip of the pen here
        if act.name not in ("not", "or", LIKE) and not act.name.startswith("doubt"):
            self.next.sure, self.before = asked.sure, before
        else:
            self.next.denied = self.next.denied or asked.denied


def reading_of(vocabulary: Vocabulary, family: str, means: str) -> Reading:
    """What a word of the vocabulary that ``means`` a value, or a parent word, says by itself."""
    values = frozenset(vocabulary.children(family, means))
    return Reading(family=family, gives=means, terms=((means, 1.0),), values=values, basis=_WORDS)


def as_typed(text: str, unread: Iterable[Span]) -> tuple[str, ...]:
    """What stands at some places of a text, as it is typed: places with no letter between them are one, and digits that a word
    is joined to are of it, as in "18mm"."""
    found: list[Span] = []
    for start, end in unread:
        while start and text[start - 1].isdecimal():
            start -= 1
        if found and not any(map(str.isalnum, text[found[-1][1] : start])):
            start = found.pop()[0]
        found.append((start, end))
    return tuple(dict.fromkeys(text[start:end] for start, end in found))


def _within(word: str, own: Mapping[tuple[str, ...], tuple[Reading, ...]]) -> tuple[Reading, ...]:
    """What the one phrase of ``own`` that stands in a word says; nothing where there is none, or several."""
    words = tokens_of(word)
    ends = range(1, len(words) + 1)
    found = {own[part] for end in ends for start in range(end) if (part := words[start:end]) in own}
    return found.pop() if len(found) == 1 else ()


def _certain(statements: Iterable[Statement]) -> frozenset[str]:
    """What is stated without doubt, and not denied."""
    some = (one.reading.gives for one in statements if one.sure == 1 and not one.denied)
    return frozenset(gives for gives in some if isinstance(gives, str))


def _says_nothing(read: Text) -> bool:
    """Whether doubt, or a word for "not looked at", is all there is: "unsure", "maybe ?"."""
    acts = {one.gives.get("", "") for one in read.phrases}
    return not read.unread and any(act == NOTHING or act.startswith("doubt") for act in acts)


def _act(word: str, act: Act) -> Phrase:
    return Phrase(text=word, readings=(), methods=(), act=act)
