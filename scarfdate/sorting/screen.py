"""`Screen`: all that the sorting table shows at one moment, as plain values; `Screen.to_dict` can be written as JSON."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass

_WORTH_A_BAR = (
    0.005  # decades below this are left out where the screen is printed, unless among others
)
CLUES, WORDS, TYPING = "clues", "words", "typing"  # where the keys go


@dataclass(frozen=True, slots=True, kw_only=True)
class ClueView:
    """One clue in the list of clues.

    ``name``: as `Sorting.choose` takes it; ``title``: for people; ``key``: opens it, "" for none; ``noted``: what
    was seen, "" where nobody looked; ``sure``: 1 for certain, less with doubt; ``method``: how it was looked at, ""
    where that is the usual way; ``doubt``: of its slider, 0 to 1, None where nothing was noted that can be doubted;
    ``marked``: whether arrow keys and the slider go to it.
    """

    name: str
    title: str
    key: str
    noted: str
    sure: float
    method: str
    doubt: float | None
    marked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class WordView:
    """One word of the open clue.

    ``key``: chooses it, "" where it is to be typed or marked; ``means``: in a few words; ``drawing``: the name by
    which `Sorting.drawing` gives its picture, "" where there is none; ``noted``: whether it was chosen; ``marked``:
    whether Enter chooses it.
    """

    word: str
    key: str
    means: str
    drawing: str
    noted: bool
    marked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenClue:
    """The clue that is open.

    ``words``: those to choose from, while typing those that fit, none for what is only typed; ``typed``: what has
    been typed so far; ``help``: what to look at or how to write it; ``method``: how it is looked at, one of
    ``methods``; ``doubt``: of the slider, 0 to 1, None where there is nothing to doubt.
    """

    name: str
    title: str
    words: tuple[WordView, ...]
    typed: str
    help: str
    method: str
    methods: tuple[str, ...]
    doubt: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """The chance of one decade: its ``label``, the ``chance`` from 0 to 1, and the same in ``words``."""

    label: str
    chance: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What is known of one piece.

    ``sentence``: when it was made; ``bars``: by decade, always the same ones, summing to one; ``reasons``: what
    speaks most for it, at most two; ``earliest``: the first possible year with its reason, "" where nothing bounds;
    ``next_look``: the most useful look that is left, ``caution``: what to take care of in it, both "" where there
    is none; ``warnings``: what is odd in what was noted.
    """

    sentence: str
    bars: tuple[Bar, ...]
    reasons: tuple[str, ...]
    earliest: str
    next_look: str
    caution: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceView:
    """One piece on the table: its ``id``, what was ``noted`` as pairs of a title and a text, with its doubt; the ``answer``."""

    id: str
    noted: tuple[tuple[str, str], ...]
    answer: Answer


@dataclass(frozen=True, slots=True, kw_only=True)
class Tray:
    """A tray for pieces of an era. ``key``: puts the piece in hand there; ``count``: pieces put there;
    ``chance``: that the piece in hand is of that era; ``proposed``: whether it is the likeliest."""

    era: str
    key: str
    count: int
    chance: float
    proposed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """A key that does something just now, named as a browser names it ("Enter", "ArrowLeft"), and what it does."""

    key: str
    does: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """All that the sorting table shows.

    ``place``: where keys go: "clues" (none is open), "words" (one is open and its words are chosen by key) or
    "typing" (letters are written); ``clues``: all of them, in the order in which one looks; ``open``: the clue that
    is open; ``piece``: the one in hand; ``other``: the one beside it, with ``hand`` "left" or "right" for where the
    piece in hand lies and ``comparison`` for which is older; ``trays``; ``commands``: what keys do just now, beside
    those of clues, words and trays; ``messages``: what the last step calls for, such as a word that is not known;
    ``said``: one sentence on what the last step did, for a reader of the screen; ``sheet``: the name of the stock
    sheet; ``written``: pieces in all trays together.
    """

    place: str
    clues: tuple[ClueView, ...]
    open: OpenClue | None
    piece: PieceView
    other: PieceView | None
    hand: str
    comparison: str
    trays: tuple[Tray, ...]
    commands: tuple[Command, ...]
    messages: tuple[str, ...]
    said: str
    sheet: str
    written: int

    def to_dict(self) -> dict[str, object]:
        """The same as dictionaries, lists, texts, numbers, truth values and None, by the names above."""
        return {one.name: _plain(getattr(self, one.name)) for one in fields(self)}

    def __str__(self) -> str:
        from scarfdate.show import terminal

        return terminal.page(*self._as_read())

    def _repr_html_(self) -> str:
        from scarfdate.show import page

        return page.card(*self._as_read())

    def _as_read(
        self,
    ) -> tuple[str, list[tuple[str, float]], list[str], tuple[str, ...], list[str]]:
        """The piece in hand as a dating is read: sentence, bars, facts, messages, what stands beside the years."""
        answer = self.piece.answer
        chances = [(bar.label, bar.chance) for bar in answer.bars]
        seen = [at for at, (_, chance) in enumerate(chances) if chance >= _WORTH_A_BAR]
        facts = [f"{title}: {text}" for title, text in self.piece.noted]
        trays = ", ".join(f"{tray.era}: {tray.count}" for tray in self.trays)
        facts += [line for line in (answer.next_look, f"Trays: {trays}.") if line]
        beside = [line for line in (answer.earliest, self.comparison) if line]
        shown = chances[seen[0] : seen[-1] + 1]
        return answer.sentence, shown, facts, (*self.messages, *answer.warnings), beside


def _plain(value: object) -> object:
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    if is_dataclass(value):
        return {one.name: _plain(getattr(value, one.name)) for one in fields(value)}
    return value
