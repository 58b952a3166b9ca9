"""The words that may be written: for each clue its words, what they mean, and what else is read as them."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from scarfdate.conventions import METHOD
from scarfdate.errors import WordError, did_you_mean, shown
from scarfdate.show.page import word_table
from scarfdate.tables.drawings import DrawingRow
from scarfdate.tables.families import Family
from scarfdate.tables.lists import Check, Question, caution_of, cautions
from scarfdate.tables.words import ANY_FAMILY, Vocabulary, plain

if TYPE_CHECKING:
    import pandas

_WIDTH = 79
_SHOWN = 20  # other words of a word that are shown: more than a screen is not read
# what a person looks at, and how it is written where it is no word; families of one's own have their titles
_LOOK = {
    "fibre": "what the cloth is made of; fibre_method says how you know (feel, label, burn, microscope)",
    "weave": "how the cloth is woven: slanting lines, plain, crepe, floating, shiny",
    "hem": "how the edge is finished: rolled by hand, sewn by machine, fringed",
    "hem_thread": "the thread with which the edge is sewn",
    "print_technique": "how the pattern was put on the cloth",
    "uv_glow": "how it glows under an ultraviolet lamp in the dark",
    "signature": "a name in the print, large or small, with a © or without",
    "form": "its shape: square, long, triangle",
    "label": "whether a label is there, whole or cut; what is printed on it goes into label_text",
    "label_make": "how the label is made: woven, printed, a paper tag",
    "label_text": "the words on the label as they stand, such as: ALL SILK, MADE IN ITALY",
    "origin": "the country that the piece or its label names",
    "motif": "what the pattern shows",
    "palette": "its colours, all in all",
    "layout": "how the pattern is laid out on the cloth",
    "stitches_per_inch": "stitches of the hem in one inch, such as 12 (or stitches_per_cm)",
    "momme": "weight of the silk in momme, such as 12 (or grams_per_square_metre)",
    "maker": "the maker's name, as your own makers.csv has it",
    "depicted_year": "the year of the thing shown, such as an event: 1953",
    "printed_year": "a year printed on the piece, such as © 1962",
    "size": "both sides with their unit, such as 90 x 90 cm or 35 x 35 in (or width_cm and height_cm)",
    "fringe": "whether the size is taken with the fringe or without",
    "method": "how a clue was looked at; written in a column such as fibre_method",
    "id": "your number for the piece, each its own",
    "note": "anything else; kept and never read",
}  # fmt: skip
_DERIVED = ("long_side", "slenderness")  # worked out from the size, never written


def look(name: str, families: Mapping[str, Family]) -> str:
    """One line on what a person looks at for a clue, or how it is written."""
    family = families.get(name)
    return _LOOK.get(name) or (family.title if family else name)


@dataclass(frozen=True, slots=True)
class Word:
    """One word of a clue: what it means, and the other words read as it, each with its language ("" unsaid).

    ``stands_for``: the words that a wider word leaves open, none for a word of its own.
    """

    word: str
    means: str
    also: tuple[tuple[str, str], ...]
    stands_for: tuple[str, ...] = ()

    def synonyms(self, most: int | None = None) -> str:
        """The other words on one line, each with its language where it is said; of more than ``most`` those first
        and how many more there are."""
        said = [f"{word} ({language})" if language else word for word, language in self.also]
        if most is not None and len(said) > most:
            said = [*said[:most], f"and {len(said) - most} more"]
        return ", ".join(said)


@dataclass(frozen=True, eq=False)
class WordList:
    """Words of one clue, or all clues with how each is written. Prints as text and as HTML, with the first other
    words of each; `text` and `to_frame` have them all.

    ``clue``: the clue, "" for the list of clues; ``says``: one line on it; ``words``: its words, or the
    clues; ``unsure``: words that mean that nobody looked or nobody could tell; ``care``: what to take care of in looking; ``drawings``: what is shown beside
    the words in HTML, or why nothing is, by family and word.
    """

    clue: str
    says: str
    words: tuple[Word, ...]
    unsure: tuple[str, ...] = ()
    care: tuple[str, ...] = ()
    drawings: Mapping[tuple[str, str], DrawingRow] = field(default_factory=dict, repr=False)

    def to_frame(self) -> pandas.DataFrame:
        """One row a word: word, means, also (other words, parted by ", ")."""
        import pandas as pd

        rows = [(one.word, one.means, one.synonyms()) for one in self.words]
        return pd.DataFrame(rows, columns=["word", "means", "also"])

    def __str__(self) -> str:
        return self.text(_SHOWN)

    def text(self, most: int | None = None) -> str:
        """As it prints, with at most so many other words for each word; None for all."""
        width = min(max((len(one.word) for one in self.words), default=0), 20)
        lines = textwrap.wrap(f"{self.clue}: {self.says}" if self.clue else self.says, _WIDTH)
        for one in self.words:
            head = f"  {one.word:<{width}}  "
            more = " " * len(head)
            lines += textwrap.wrap(head + one.means, _WIDTH, subsequent_indent=more) or [head]
            if one.also:
                also = "also: " + one.synonyms(most)
                lines += textwrap.wrap(also, _WIDTH, initial_indent=more, subsequent_indent=more + "  ",
                                       break_on_hyphens=False)  # fmt: skip
        for said in self._below():
            lines += ["", *textwrap.wrap(said, _WIDTH)]
        return "\n".join(lines)

    def _below(self) -> list[str]:
        """What stands below the words."""
        words = ", ".join(self.unsure)
        unsure = [f"Not looked at, or could not tell: leave it blank, or write {words}."]
        return [*self.care, *(unsure if self.unsure else [])]

    def _repr_html_(self) -> str:
        from scarfdate.strokes.small import beside_words

        head = f"{self.clue}: {self.says}" if self.clue else self.says
        drawn, more = beside_words(self.clue, [one.word for one in self.words], self.drawings)
        rows = [
            (one.word, one.means, one.synonyms(_SHOWN), drawn.get(one.word)) for one in self.words
        ]
        return word_table(head, rows, [*self._below(), *more])


def word_list(
    families: Mapping[str, Family],
    vocabulary: Vocabulary,
    makers: Mapping[str, str],
    clue: str | None,
    questions: Mapping[str, Question],
    drawings: Mapping[tuple[str, str], DrawingRow],
    checks: Sequence[Check],
) -> WordList:
    """The words of a clue, or the clues for None; the answer where ``clue`` is what people ask for that is none.

    Raises WordError for what is neither.
    """
    names = [name for name in families if name not in _DERIVED]
    names[names.index("form") + 1 : names.index("form") + 1] = ["size"] if "form" in names else []
    if clue is None:
        clues = tuple(Word(name, look(name, families), ()) for name in names)
        says = 'The clues; "scarfdate words hem" lists the words of one of them.'
        return WordList("", says, clues)
    others = [name for name in vocabulary.values if name not in names and name != ANY_FAMILY]
    known = [*names, *others]
    asked = plain(clue).replace(" ", "_") if isinstance(clue, str) else ""
    asked = "method" if asked not in known and asked.endswith("_method") else asked
    question = questions.get(asked.replace("_", " "))
    if asked not in known and question is not None:
        return WordList(question.about, str(question).partition(": ")[2], ())
    if asked not in known:
        raise WordError(
            f"no clue {shown(clue)} is known; {did_you_mean(asked, known)} (scarfdate words lists them)"
        )
    says = look(asked, families)
    if asked in vocabulary.values:
        unsure = [one.word for one in (*vocabulary.rows.get(asked, ()), *vocabulary.rows.get(ANY_FAMILY, ()))
                  if one.reading == "missing"]  # fmt: skip
        words = _words(vocabulary, asked)
        told = caution_of(checks, asked, METHOD)
        care = [f"Take care: {told}."] if told else []
        if asked == "method":
            ways = [one.word for one in words if one.word != METHOD]
            care = [
                f"Take care with {way}: {one}." for way in ways for one in cautions(checks, way)[:1]
            ]
        return WordList(asked, says, words, tuple(unsure[:8]), tuple(care), drawings)
    if asked in families and families[asked].kind == "maker":
        return WordList(asked, says, tuple(Word(name, "", ()) for name in makers.values()))
    family = families.get(asked)
    if family is not None and family.usual_low == family.usual_low:
        unit = f" {family.unit}" if family.unit and family.unit != "year" else ""
        says += f". Usual: {family.usual_low:g} to {family.usual_high:g}{unit}"
    return WordList(asked, says, ())


def _words(vocabulary: Vocabulary, family: str) -> tuple[Word, ...]:
    also: dict[str, list[tuple[str, str]]] = {}
    rows = vocabulary.rows.get(family, ())
    for reading in ("synonym", "narrower"):  # other names first, then what is some kind of it
        for one in rows:
            if one.reading == reading:  # a narrower word may be a kind of several values
                for means in _parts(one.means):
                    also.setdefault(means, []).append((one.word, one.language))
    found = []
    for one in rows:
        synonyms = tuple(also.get(one.word, ()))
        if one.reading == "value":
            found.append(Word(one.word, one.means, synonyms))
        elif one.reading == "one-of":
            parts = _parts(one.means)
            found.append(Word(one.word, f"one of {' or '.join(parts)}", synonyms, parts))
    return tuple(found)


def _parts(means: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in means.split("|"))


def choices(vocabulary: Vocabulary, family: str) -> Sequence[str]:
    """The words of a family as a drop-down list offers them: its values and the wider words."""
    return (*vocabulary.values.get(family, ()), *vocabulary.wider(family))
