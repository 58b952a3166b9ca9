"""`Sorting`: the sorting table without its looks: what was seen goes in by calls or keys, a `Screen` comes out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import wraps
from pathlib import Path
from typing import Any

from scarfdate.clues.sides import SIZE
from scarfdate.conventions import CHANNEL, METHOD
from scarfdate.drawing.draw import draw_clue
from scarfdate.errors import ScarfdateError, WordError, did_you_mean, shown
from scarfdate.reading.observation import Observation
from scarfdate.show.terminal import clean
from scarfdate.sorting.answer import answers_of
from scarfdate.sorting.clue import TableClue, clues_of, sheet_columns
from scarfdate.sorting.doubt import checked_doubt
from scarfdate.sorting.journal import Journal
from scarfdate.sorting.keeper import Keeper
from scarfdate.sorting.keyboard import OF_PLACE
from scarfdate.sorting.numbering import next_id
from scarfdate.sorting.piece import ID, Noted, Piece
from scarfdate.sorting.place import Place, is_read, opened, words_shown
from scarfdate.sorting.screen import CLUES, TYPING, WORDS, Screen
from scarfdate.sorting.sheet import StockSheet
from scarfdate.sorting.sides import sides_as_cells, with_unit
from scarfdate.sorting.view import HANDS, screen_of, text_with_doubt
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.words import units

_STEP = 0.1  # of the slider of doubt, by one press


def _shows(verb: Callable[..., None]) -> Callable[..., Screen]:
    """A verb of the table: whatever it refuses is a message on the screen, and nothing is changed."""

    @wraps(verb)
    def show(self: Sorting, *args: Any, **more: Any) -> Screen:
        self._said, self._keeper.messages[:] = "", []
        try:
            verb(self, *args, **more)
        except ScarfdateError as error:
            self._keeper.messages.append(f"{error}")
        return self.screen()

    return show


class Sorting:
    """A table for sorting a pile onto a stock sheet, driven by keys (`press`) or by calls.

    ``stock``: the sheet, a CSV file that `date_table` reads, begun where it is not there; ``unit``: of sizes typed
    without one; the others as of `date_scarf`. What lies on the table is kept beside the sheet after every step, so
    that a table opened after the kernel was killed goes on where it was left.

    Every verb returns the `Screen` as it is then; what cannot be done is a message on it, never an error, and
    changes nothing. Raises ScarfdateError only here, where the sheet cannot be used.
    """

    def __init__(
        self, stock: str | Path = "stock.csv", *, priors: Priors | None = None, channel: str = CHANNEL,
        as_of: int | None = None, unit: str | None = None,
    ) -> None:  # fmt: skip
        known = checked_priors(priors)
        self._unit = units.checked_unit(unit)
        self._priors, self._answers = known, answers_of(known, channel, as_of)
        self._clues = clues_of(known)
        sheet = StockSheet(stock, known, sheet_columns(known))
        journal = Journal(sheet.path, len(self._answers.eras))
        self._keeper = Keeper(sheet, journal, self._answers.check)
        self._first = next(iter(self._clues))
        self._place, self._said = Place(clue=self._first), ""

    # ------------------------------------------------------------------------------- what is shown

    def screen(self) -> Screen:
        """What the table shows now."""
        return screen_of(
            self._answers, self._clues, self._keeper.now, self._place, tuple(self._keeper.messages),
            self._said, self._keeper.sheet.name,
            next_id(self._keeper.sheet.ids()),
        )  # fmt: skip

    @property
    def clues(self) -> Mapping[str, TableClue]:
        """All clues by name, in the order in which one looks."""
        return self._clues

    def drawing(self, name: str) -> dict[str, str]:
        """The picture of a word by the name that a `WordView` has: ``svg``, ``alt`` and ``caption``, as of `Drawing`.

        Raises WordError for another name.
        """
        clue, _, word = name.partition("/") if isinstance(name, str) else ("", "", "")
        if not word or name not in getattr(self._clues.get(clue), "drawings", {}).values():
            raise WordError(f"no drawing is called {shown(name)}; a Screen names those there are")
        drawn = draw_clue(clue, word, priors=self._priors)
        return {"svg": drawn.svg, "alt": drawn.alt, "caption": drawn.caption}

    def __repr__(self) -> str:
        return f"Sorting({self._keeper.sheet.name!r})"

    def __str__(self) -> str:
        return str(self.screen())

    def _repr_html_(self) -> str:
        return self.screen()._repr_html_()

    # ------------------------------------------------------------------------------- what was seen

    def press(self, key: str) -> Screen:
        """Play one key, named as a browser names it: "h", "Enter", "ArrowLeft"."""
        if not isinstance(key, str):
            return self.screen()
        where = self._place.where
        if where == TYPING and len(key) == 1:
            return self.type(self._place.typed + key)
        letter = key.casefold()
        command = OF_PLACE[where].get(key)
        if command is not None:
            screen: Screen = getattr(self, command.verb)(*command.with_)
            return screen
        if where == CLUES:
            opens = [name for name, clue in self._clues.items() if clue.key == letter and letter]
            if opens:
                return self.open(opens[0])
            if letter in map(str, range(1, len(self._answers.eras) + 1)):
                return self.to_tray(int(letter))
        elif where == WORDS:
            words = [w for w, k in self._clues[self._place.clue].keys.items() if k == letter]
            if words:
                return self.choose(self._place.clue, words[0])
        return self._nothing(key)

    @_shows
    def choose(self, clue: str, word: str) -> None:
        """Note a word of a clue; a word that says nothing ("?") is as if nobody looked."""
        known = self._clue(clue)
        if known.words and isinstance(word, str):
            word = self._priors.vocabulary.canonical(known.name, word)
        self._take_text(known, word)

    @_shows
    def note(self, clue: str, text: str) -> None:
        """Note a clue as a person writes it: "90 x 90 cm", "silk?", "MADE IN ITALY"; blank: nobody looked."""
        self._take_text(self._clue(clue), text)

    @_shows
    def doubt(self, value: float, clue: str | None = None) -> None:
        """Set the slider of a clue, or of the one that is marked: 0 is certain, 1 as if nobody had looked."""
        self._doubt(self._clue(clue), checked_doubt(value))

    @_shows
    def method(self, method: str, clue: str | None = None) -> None:
        """Say how a clue, or the one that is marked, was looked at ("feel", "label", "burn", "microscope")."""
        self._look_by(self._clue(clue), method)

    @_shows
    def clear(self, clue: str | None = None) -> None:
        """Of a clue, or of the one that is marked, nothing was looked at."""
        self._set(self._clue(clue), None)

    # ------------------------------------------------------------------------------- pieces

    @_shows
    def next_piece(self) -> None:
        """Write the piece in hand onto the stock sheet, count it in the tray of its likeliest era, take the next."""
        eras = self._answers.of(self._piece).eras
        self._put_away(max(range(len(eras)), key=lambda at: eras[at]))

    @_shows
    def to_tray(self, era: str | int) -> None:
        """The same with the tray named: by its era as a `Screen` names it, or by its number from 1."""
        names = self._answers.eras
        if isinstance(era, int) and not isinstance(era, bool) and 1 <= era <= len(names):
            self._put_away(era - 1)
        elif era in names:
            self._put_away(names.index(str(era)))
        else:
            raise WordError(f"no tray {shown(era)} is there; {did_you_mean(era, names)}")

    @_shows
    def undo(self) -> None:
        """Take the last step back; where that wrote a row, the row is taken off the sheet again."""
        self._place = Place(clue=self._place.clue)
        if not self._keeper.undo():
            raise ScarfdateError("There is nothing to take back.")
        self._say("Taken back.")

    @_shows
    def side_by_side(self) -> None:
        """Lay a second piece beside the one in hand; then take the other one in hand; one of which nothing was
        noted is put away again."""
        now = self._keeper.now
        other = now.pieces[1 - now.held] if len(now.pieces) > 1 else None
        if other is None:
            self._keeper.change(replace(now, pieces=(*now.pieces, Piece()), held=1))
        elif now.piece == Piece():
            self._keeper.change(replace(now, pieces=(other,), held=0))
        else:
            self._keeper.change(replace(now, held=1 - now.held))
        self._place = Place(clue=self._place.clue)
        now = self._keeper.now
        self._say(f"The {HANDS[now.held]} piece is in hand." if len(now.pieces) > 1 else
                  "One piece lies on the table.")  # fmt: skip

    @_shows
    def empty_trays(self) -> None:
        """Count the trays from nothing; the sheet stays as it is."""
        now = self._keeper.now
        self._keeper.change(replace(now, trays=(0,) * len(now.trays), filed=()))
        self._say("The trays are counted from nothing.")

    # ------------------------------------------------------------------------------- where keys go

    @_shows
    def open(self, clue: str | None = None) -> None:
        """Open a clue, or the one that is marked: its words are chosen by key then, or it is typed."""
        known = self._clue(clue)
        noted = self._piece.get(known.name)
        self._place = opened(known, noted.word if noted else "")
        self._said = f"{known.title}: {known.help}."

    @_shows
    def type(self, text: str) -> None:
        """All that has been typed so far of the clue that is typed, as a line of text has it."""
        if not isinstance(text, str):
            raise ScarfdateError(f"text: what was typed is allowed, got {shown(text)}")
        if self._place.where == TYPING:
            self._place = replace(self._place, typed=clean(text), word=0)

    @_shows
    def close(self) -> None:
        """Leave what is open: what was typed is forgotten, nothing else."""
        here = self._clues[self._place.clue]
        typing_a_word = self._place.where == TYPING and here.words
        self._place = opened(here, "") if typing_a_word else Place(clue=here.name)

    @_shows
    def _mark(self, step: int) -> None:
        place = self._place
        if place.where == CLUES:
            names = list(self._clues)
            at = (names.index(place.clue) + step) % len(names)
            self._place = Place(clue=names[at])
            self._said = f"{self._clues[names[at]].title}: {self._noted_text(names[at])}."
            return
        words = words_shown(self._priors, self._clues[place.clue], place)
        if words:
            at = (place.word + step) % len(words)
            self._place = replace(place, word=at)
            self._said = words[at]

    @_shows
    def _slide(self, step: int) -> None:
        clue = self._clue(None)
        noted = self._piece.get(clue.name)
        if noted is None:
            raise ScarfdateError(f"{clue.title}: note it first, then say how sure you are.")
        self._doubt(clue, min(max(round(noted.doubt + _STEP * step, 1), 0.0), 1.0))

    @_shows
    def _next_method(self) -> None:
        clue = self._clue(None)
        if len(clue.methods) < 2:
            raise ScarfdateError(f"{clue.title}: there is one way to look at it.")
        now = self._method_of(clue) or clue.methods[0]
        self._look_by(clue, clue.methods[(clue.methods.index(now) + 1) % len(clue.methods)])

    @_shows
    def _write(self) -> None:
        self._place = replace(self._place, where=TYPING, typed="", word=0)

    @_shows
    def _rub_out(self) -> None:
        self._place = replace(self._place, typed=self._place.typed[:-1], word=0)

    @_shows
    def _take(self) -> None:
        clue, place = self._clues[self._place.clue], self._place
        words = words_shown(self._priors, clue, place)
        if place.where == TYPING and not place.word and (not words or place.typed.strip()):
            as_typed = not words or is_read(self._priors, clue, place.typed)
            self._take_text(clue, place.typed if as_typed else words[0])
        elif place.where == WORDS or place.word:
            self._take_text(clue, words[place.word % len(words)])
        else:
            self._place = opened(clue, "")  # nothing was typed

    @_shows
    def _nothing(self, key: str) -> None:
        if len(key) == 1:  # not Shift, Tab and their like
            self._said = f"{shown(key)} does nothing here."

    # ------------------------------------------------------------------------------- inside

    @property
    def _piece(self) -> Piece:
        return self._keeper.now.piece

    def _clue(self, name: str | None) -> TableClue:
        wanted = self._place.clue if name is None else name
        found = self._clues.get(wanted) if isinstance(wanted, str) else None
        if found is None:
            hint = did_you_mean(name, list(self._clues))
            raise WordError(f"no clue {shown(name)} is known; {hint}")
        return found

    def _method_of(self, clue: TableClue) -> str:
        noted = self._piece.get(clue.name)
        if noted is not None:
            return noted.method
        return self._place.method if self._place.clue == clue.name else ""

    def _noted_text(self, name: str) -> str:
        noted = self._piece.get(name)
        seen = self._answers.of(self._piece).scarf.seen.get(name)
        return text_with_doubt(noted, seen) or "not looked at"

    def _say(self, text: str) -> None:
        """What was done, and when the piece in hand was made."""
        self._said = f"{text} {self._answers.of(self._piece).answer.sentence}"

    def _set(self, clue: TableClue, noted: Noted | None) -> None:
        """Note it, where the piece can be dated with it; the clue is closed, and marked for the slider."""
        piece = self._piece.with_noted(clue.name, noted)
        self._answers.of(piece)
        self._keeper.change(self._keeper.now.with_piece(piece))
        self._place = Place(clue=clue.name)
        self._say(f"{clue.title}: {self._noted_text(clue.name)}.")

    def _set_word(self, clue: TableClue, word: str) -> None:
        was = self._piece.get(clue.name)
        doubt = was.doubt if was is not None and was.word == word else 0.0
        self._set(clue, Noted(word, doubt, self._method_of(clue)))

    def _take_text(self, clue: TableClue, text: object) -> None:
        if not isinstance(text, str):
            raise WordError(f"{clue.name}: text is noted, got {shown(text)}")
        text = clean(text).strip()
        if not text:
            self._set(clue, None)
        elif clue.words and is_read(self._priors, clue, text):
            self._set_word(clue, self._priors.vocabulary.canonical(clue.name, text))
        else:
            if clue.name == SIZE:
                text = with_unit(self._priors, text, self._unit)
            self._set(clue, Noted(text, 0.0, self._method_of(clue)))
            if clue.name == ID and text in self._keeper.sheet.ids():
                self._keeper.messages.append(f"{shown(text)} is on the sheet already.")

    def _doubt(self, clue: TableClue, value: float) -> None:
        noted = self._piece.get(clue.name)
        if noted is None or not clue.can_be_doubted:
            raise ScarfdateError(f"{clue.title}: doubt is of a word that was noted.")
        seen = self._answers.of(self._piece).scarf.seen.get(clue.name)
        word, method = noted.word, noted.method
        if not is_read(self._priors, clue, word):
            if not isinstance(seen, Observation):
                raise ScarfdateError(f"{clue.title}: choose a word first.")
            # what was typed with a doubt of its own: the slider is of the word that weighs most
            word = max(seen.terms, key=lambda term: term[1])[0]
            method = "" if seen.method == METHOD else seen.method
        self._set(clue, Noted(word, value, method))

    def _look_by(self, clue: TableClue, method: object) -> None:
        if method not in clue.methods:
            hint = did_you_mean(method, clue.methods) if clue.methods else "there is one way"
            raise WordError(f"{clue.name}: cannot be looked at by {shown(method)}; {hint}")
        noted, way = self._piece.get(clue.name), "" if method == METHOD else str(method)
        if noted is None:
            self._place = replace(self._place, clue=clue.name, method=way)
            self._said = f"{clue.title}: {method}."
            return
        place = self._place
        self._set(clue, replace(noted, method=way))
        self._place = replace(place, clue=clue.name)

    def _put_away(self, tray: int) -> None:
        piece, sheet = self._piece, self._keeper.sheet
        if piece.blank:
            raise ScarfdateError("Nothing was noted of this piece, so there is nothing to write.")
        cells = piece.cells(self._priors)
        cells.setdefault(ID, next_id(sheet.ids(anew=True)))
        self._keeper.put_away(
            sheet.in_its_columns(cells, sides_as_cells(self._answers.of(piece).scarf)), tray
        )
        self._place = Place(clue=self._first)
        self._say(f"{cells[ID]} written, {self._answers.eras[tray]}. The next piece.")
