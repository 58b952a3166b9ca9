"""The `Screen` of what lies on the table."""

from __future__ import annotations

from collections.abc import Mapping

from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import METHOD
from scarfdate.reading.observation import Observation
from scarfdate.show.sentence import percent
from scarfdate.sorting.answer import Answers
from scarfdate.sorting.clue import TableClue
from scarfdate.sorting.journal import OnTable
from scarfdate.sorting.keyboard import KEYS
from scarfdate.sorting.piece import ID, Noted, Piece
from scarfdate.sorting.place import Place, words_shown
from scarfdate.sorting.screen import (
    CLUES,
    WORDS,
    ClueView,
    Command,
    OpenClue,
    PieceView,
    Screen,
    Tray,
    WordView,
)
from scarfdate.tables.lists import caution_of

HANDS = ("first", "second")
_MUCH_LESS = 5  # times lighter than the leading word


def screen_of(
    answers: Answers, clues: Mapping[str, TableClue], now: OnTable, place: Place,
    messages: tuple[str, ...], said: str, sheet: str, number: str,
) -> Screen:  # fmt: skip
    """``number``: the one that the piece in hand gets where it has none."""
    piece = now.piece
    weighed = answers.of(piece)
    views = tuple(
        _clue_view(clue, piece.get(name), weighed.scarf, marked=name == place.clue)
        for name, clue in clues.items()
    )
    other = now.pieces[1 - now.held] if len(now.pieces) > 1 else None
    likeliest = max(range(len(weighed.eras)), key=lambda at: weighed.eras[at])
    return Screen(
        place=place.where,
        clues=views,
        open=None if place.where == CLUES else _open(answers, clues[place.clue], place, piece),
        piece=_piece_view(answers, clues, piece, number),
        other=None if other is None else _piece_view(answers, clues, other, ""),
        hand=HANDS[now.held],
        comparison="" if other is None else answers.compared(*now.pieces),
        trays=tuple(
            Tray(era=era, key=f"{at + 1}", count=now.trays[at], chance=weighed.eras[at],
                 proposed=at == likeliest and not piece.blank)
            for at, era in enumerate(answers.eras)
        ),
        commands=tuple(Command(key=key.key, does=key.does) for key in KEYS[place.where]),
        messages=messages,
        said=said,
        sheet=sheet,
        written=sum(now.trays),
    )  # fmt: skip


def text_of(noted: Noted | None, seen: object) -> str:
    """What was noted of a clue, in words, without the doubt of the slider; "" where nobody looked."""
    if not isinstance(seen, Observation):
        return noted.word if noted else ""
    if noted is not None and noted.doubt:
        return noted.word
    text = _words(seen)
    return text if noted is not None else f"{text} (told by another clue)"


def text_with_doubt(noted: Noted | None, seen: object) -> str:
    """The same with the doubt."""
    text = text_of(noted, seen)
    return f"{text} ({percent(_surest(seen))} sure)" if noted and noted.doubt else text


def _words(seen: Observation) -> str:
    """The words that weigh most, each with its weight; what doubt spreads over all others is not shown."""
    if seen.word is not None:
        return seen.word
    terms = sorted(seen.terms, key=lambda term: -term[1])
    some = [term for term in terms if term[1] > terms[0][1] / _MUCH_LESS]
    return " or ".join(f"{word} ({percent(weight)})" for word, weight in some)


def _surest(seen: object) -> float:
    return max(weight for _, weight in seen.terms) if isinstance(seen, Observation) else 1.0


def _clue_view(clue: TableClue, noted: Noted | None, scarf: Scarf, *, marked: bool) -> ClueView:
    seen = scarf.seen.get(clue.name)
    return ClueView(
        name=clue.name,
        title=clue.title,
        key=clue.key,
        noted=text_of(noted, seen),
        sure=_surest(seen),
        method=noted.method if noted else "",
        doubt=noted.doubt if noted and clue.can_be_doubted else None,
        marked=marked,
    )


def _open(answers: Answers, clue: TableClue, place: Place, piece: Piece) -> OpenClue:
    noted = piece.get(clue.name)
    shown = words_shown(answers.priors, clue, place)
    method = (noted.method if noted else "") or place.method
    care = caution_of(answers.priors.checks, clue.name, method or METHOD)
    return OpenClue(
        name=clue.name,
        title=clue.title,
        words=tuple(
            WordView(
                word=word,
                key=clue.keys.get(word, "") if place.where == WORDS else "",
                means=clue.meanings.get(word, ""),
                drawing=clue.drawings.get(word, ""),
                noted=noted is not None and noted.word == word,
                marked=at == place.word,
            )
            for at, word in enumerate(shown)
        ),
        typed=place.typed,
        help=f"{clue.help}. Take care: {care}" if care else clue.help,
        method=method,
        methods=clue.methods,
        doubt=(noted.doubt if noted else 0.0) if clue.can_be_doubted else None,
    )


def _piece_view(
    answers: Answers, clues: Mapping[str, TableClue], piece: Piece, number: str
) -> PieceView:
    weighed = answers.of(piece)
    noted = [
        (clues[name].title, text_with_doubt(one, weighed.scarf.seen.get(name)))
        for name, one in piece.noted
        if name != ID
    ]
    own = piece.get(ID)
    return PieceView(id=own.word if own else number, noted=tuple(noted), answer=weighed.answer)
