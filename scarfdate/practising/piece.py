"""A piece in a round of practice: what can be shown of it, clue by clue, and what is known of its year."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from scarfdate.answer.reasons import Says
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.sides import SIZE
from scarfdate.tables.priors import Priors
from scarfdate.why.asked import Asked

LABEL_TEXT = "label_text"
_BOUNDS = "bounds"  # the kind of families that say when it was made, and are no clues


@dataclass(frozen=True, kw_only=True)
class Piece:
    """``seen``: keywords of `Scarf`; ``known``: first and last year in which it was made, None where
    nobody knows; ``kind``: by what it is like another, where that is not what was seen."""

    seen: Mapping[str, object] = field(repr=False)
    known: tuple[int, int] | None
    kind: frozenset[object] = frozenset()

    @property
    def traits(self) -> frozenset[object]:
        """What makes it like another piece, or unlike."""
        return self.kind or frozenset((name, str(cell)) for name, cell in self.seen.items())


def families_of(scarf: Scarf, priors: Priors) -> tuple[str, ...]:
    """The families that can be shown: not those that say the year, nor what the text of a label says by itself."""
    said: Mapping[str, object] = {}
    if LABEL_TEXT in scarf.seen:
        said = only(scarf, [LABEL_TEXT], priors).seen
    return tuple(
        name
        for name, seen in scarf.seen.items()
        if (name == SIZE or priors.families[name].kind != _BOUNDS)
        and (name == LABEL_TEXT or said.get(name) != seen)
    )


def cells_of(scarf: Scarf, families: Iterable[str]) -> dict[str, object]:
    """Keywords of `Scarf` for some of the families that were seen."""
    cells: dict[str, object] = {}
    for name in families:
        cells |= scarf.seen[name].cells(name)
    return cells


def only(scarf: Scarf, families: Iterable[str], priors: Priors) -> Scarf:
    """The scarf as it would be noted if nothing but these families had been looked at."""
    return Scarf.from_dict(cells_of(scarf, families), priors=priors)


def title_of(family: str, priors: Priors) -> str:
    """A family as a person calls it."""
    own = {SIZE: SIZE, LABEL_TEXT: "text of the label"}
    return own.get(family) or priors.families[family].title


def noted(scarf: Scarf, family: str, priors: Priors) -> str:
    """What was noted of a family, as it is shown in a round: "ombre (colours that shade into each other)"."""
    seen = scarf.seen[family]
    measure = getattr(seen, "noted", "")
    if measure:
        return str(measure)
    value, *_ = seen.cells(family).values()
    rest = list(seen.cells(family).items())[1:]
    more = [f"{name.replace('_', ' ')}: {_plain(cell)}" for name, cell in rest]
    means = priors.vocabulary.meanings.get(family, {}).get(str(value), "")
    if means and means != value:
        more.insert(0, means)
    return f"{_plain(value)} ({'; '.join(more)})" if more else _plain(value)


def _plain(cell: object) -> str:
    """A cell as text: weights of words as per cent, the heaviest first."""
    if isinstance(cell, Mapping):
        shares = sorted(cell.items(), key=lambda item: -item[1])
        return ", ".join(f"{word} {100 * share:.0f} %" for word, share in shares)
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return str(cell)


def in_words(scarf: Scarf, family: str, priors: Priors, channel: str, as_of: int) -> str:
    """A clue as a sentence names it: "the hand-rolled hem"."""
    if family == LABEL_TEXT:
        return "what the label says"
    asked = Asked.of(only(scarf, [family], priors), priors, channel, as_of)
    says = Says(asked.model)
    codes = asked.codes[0].tolist()
    words = [says.clue(column, code, asked.measured) for column, code in enumerate(codes) if code]
    return ", ".join(words) or f"the {title_of(family, priors)}"
