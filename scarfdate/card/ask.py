"""What a pocket card may ask, and simulated scarves with their exact answers to fit it to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.answer.blocks import BLOCK
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import Array
from scarfdate.errors import WordError, did_you_mean, shown
from scarfdate.model.drawing import simulate
from scarfdate.model.model import Model
from scarfdate.model.posterior import year_only
from scarfdate.tables.priors import Priors

# how much is looked at differs from piece to piece: a card must do with few clues and with many
_LOOKED_AT = tuple(np.linspace(0.3, 1.0, 8).tolist())
_CARRIED = ("", "lens", "tape")  # tools that a dealer has in the pocket
_RANGES = 8  # of a measurement, before neighbours are joined

Codes = NDArray[np.int64]


@dataclass(frozen=True)
class Question:
    """A clue as a card asks it: which of ``values``, or between which of ``edges`` a measure lies."""

    name: str
    title: str
    unit: str
    values: tuple[str, ...]
    edges: tuple[float, ...] = ()

    @property
    def measured(self) -> bool:
        """Whether it is answered with a number."""
        return not self.values

    @property
    def answers(self) -> int:
        """How many there are."""
        return len(self.values) or len(self.edges) + 1

    def label(self, members: Sequence[int]) -> str:
        """Some answers as one, in words: values one after the other, neighbouring ranges as one."""
        if not self.measured:
            return ", ".join(self.values[place].replace("-", " ") for place in members)
        first, last = min(members), max(members)
        if first == 0:
            return f"under {self.edges[last]:g}"
        low = f"{self.edges[first - 1]:g}"
        return f"{low} or more" if last == len(self.edges) else f"{low} to {self.edges[last]:g}"


@dataclass(frozen=True)
class Drawn:
    """Simulated scarves. ``seen``: for each clue asked, words or numbers, None or NaN where not looked at.

    ``exact`` (n, years): P(year | everything seen); ``year`` (n,) and ``later`` (n,), a later piece in
    an older look: what is true.
    """

    seen: dict[str, NDArray[np.object_]]
    exact: Array
    year: NDArray[np.int64]
    later: NDArray[np.bool_]


def askable(model: Model) -> tuple[str, ...]:
    """Names of all clues that a card can ask: words, and what is measured beside them."""
    names = []
    for clue in model.clues:
        if isinstance(clue, SharesClue):
            names += [clue.name, *(measure.family.name for measure in clue.measures)]
    return tuple(name for name in model.priors.families if name in names)


def chosen(model: Model, clues: Sequence[str] | None) -> tuple[str, ...]:
    """The clues to choose among: those given, or all that can be seen with what is in a pocket.

    By the table of checks: without harm, and with no other tool than a lens or a tape measure.
    """
    names = askable(model)
    if clues is None:
        checked = {check.family for check in model.priors.checks}
        easy = {c.family for c in model.priors.checks if not c.harms and c.needs in _CARRIED}
        return tuple(name for name in names if name in easy or name not in checked)
    if isinstance(clues, str) or not isinstance(clues, Sequence) or not clues:
        raise WordError(
            f'clues: a list of names is allowed, such as ["hem", "fibre"], got {shown(clues)}'
        )
    for name in clues:
        if name not in names:
            raise WordError(
                f"clues: a card cannot ask {shown(name)}; {did_you_mean(str(name), names)}"
            )
    return tuple(name for name in names if name in clues)


@dataclass(frozen=True, kw_only=True)
class Eras:
    """The columns of a card. ``names``; ``halves``: of each era, one name where the years end before its half.

    ``column`` (years,): the era of each year; ``later`` (years,): whether it is of the later half.
    """

    names: tuple[str, ...]
    halves: tuple[tuple[str, ...], ...]
    column: NDArray[np.int64]
    later: NDArray[np.bool_]


def eras_of(model: Model) -> Eras:
    """The eras of ``card_eras.csv`` that begin within the years of a model."""
    last = int(model.years[-1])
    known = [era for era in model.priors.card.eras if era.first <= last]
    ends = [era.first - 1 for era in known[1:]] + [None]
    names, halves = [], []
    for at, (era, end) in enumerate(zip(known, ends, strict=True)):
        begin = era.first if at else None
        names.append(_span(begin, end))
        parts = (_span(begin, era.half - 1), _span(era.half, end))
        halves.append(parts if era.half <= last else (names[-1],))
    firsts, later = [era.first for era in known[1:]], [era.half for era in known]
    column = np.searchsorted(firsts, model.years, side="right")
    return Eras(
        names=tuple(names),
        halves=tuple(halves),
        column=np.asarray(column),
        later=model.years >= np.array(later)[column],
    )


def _span(first: int | None, last: int | None) -> str:
    """ "before 1940", "1940-59", "1950s", "from 2000"."""
    if first is None:
        return "all years" if last is None else f"before {last + 1}"
    if last is None:
        return f"from {first}"
    if first % 10 == 0 and last == first + 9:
        return f"{first}s"
    return f"{first}-{last % 100:02}" if first // 100 == last // 100 else f"{first}-{last}"


def draw(
    priors: Priors, model: Model, names: Sequence[str], n: int, rng: np.random.Generator
) -> Drawn:
    """``n`` pieces of the model's channel, and the exact answer from the clues ``names``.

    The country of origin is read off a label, so a piece that has none has no origin to see. Nobody
    draws what the tables do not: makers, label texts and dated prints.
    """
    import pandas as pd

    from scarfdate.answer.frame import Columns

    parts = [n // len(_LOOKED_AT) + (i < n % len(_LOOKED_AT)) for i in range(len(_LOOKED_AT))]
    seen: list[pd.DataFrame] = []
    truth: list[pd.DataFrame] = []
    for looked_at, size in zip(_LOOKED_AT, parts, strict=True):
        made = simulate(
            priors, size, rng, channel=model.channel.name, as_of=model.as_of, looked_at=looked_at
        )
        seen.append(made.frame())
        truth.append(made.truth_frame())
    frame, true = pd.concat(seen, ignore_index=True), pd.concat(truth, ignore_index=True)
    if "origin" in frame and "true_label" in true:
        frame["origin"] = frame["origin"].astype(object).mask(true["true_label"] == "none-seen")
    wanted = [name for name in names if name in frame]
    if {"long_side", "slenderness"} & set(names):
        wanted += ["width_cm", *(["height_cm"] if "slenderness" in names else [])]
    frame = frame[wanted]
    exact = np.empty((n, len(model.years)))
    read = Columns(model, frame)
    good = np.ones(n, dtype=bool)
    for start in range(0, n, BLOCK):
        block = read.block(start, min(start + BLOCK, n))
        good[[start + row for row in block.errors]] = False
        exact[start : start + len(block.codes)] = year_only(model, block.codes)
    answers = {name: frame[name].to_numpy(dtype=object) for name in names if name in frame}
    if "width_cm" in frame:
        width = frame["width_cm"].to_numpy(dtype=float)
        height = frame["height_cm"].to_numpy(dtype=float) if "height_cm" in frame else width
        long, short = np.fmax(width, height), np.fmin(width, height)
        derived = {"long_side": long, "slenderness": long / short}
        answers |= {name: derived[name].astype(object) for name in names if name in derived}
    return Drawn(
        {name: answers[name][good] for name in names},
        exact[good],
        true["year"].to_numpy(dtype=np.int64)[good],
        (true["mode"] == "revival").to_numpy(dtype=bool)[good],
    )


def questions(model: Model, names: Sequence[str], drawn: Drawn) -> tuple[Question, ...]:
    """How each clue is asked: by its values, or by ranges that hold about as many pieces each."""
    asked = []
    for name in names:
        family = model.priors.families[name]
        if family.kind == "shares":
            values = model.priors.vocabulary.values[name]
            asked.append(Question(name, family.title, "", values))
            continue
        borders = model.priors.card.borders.get(name)
        if borders:
            asked.append(Question(name, family.title, family.unit, (), borders))
            continue
        numbers = drawn.seen[name].astype(float)
        numbers = numbers[~np.isnan(numbers)]
        cuts = np.quantile(numbers, np.arange(1, _RANGES) / _RANGES) if len(numbers) else []
        edges = sorted({_plain(float(cut)) for cut in cuts} - {family.low})
        asked.append(Question(name, family.title, family.unit, (), tuple(edges)))
    return tuple(asked)


def coded(asked: Sequence[Question], drawn: Drawn) -> tuple[Codes, list[int]]:
    """What was seen as row numbers, (n, questions), 0 where not looked at; and the first row of each.

    Rows are numbered through all questions, from 1.
    """
    codes = np.zeros((len(drawn.year), len(asked)), dtype=np.int64)
    firsts, first = [], 1
    for at, question in enumerate(asked):
        seen = drawn.seen[question.name]
        if question.measured:
            numbers = seen.astype(float)
            place = first + np.searchsorted(question.edges, numbers, side="right")
            codes[:, at] = np.where(np.isnan(numbers), 0, place)
        else:
            row = {value: first + place for place, value in enumerate(question.values)}
            codes[:, at] = [row.get(value, 0) for value in seen.tolist()]
        firsts.append(first)
        first += question.answers
    return codes, [*firsts, first]


def _plain(number: float) -> float:
    """A number near by that is easy to read off a tape: 12.7 is 13, 86.4 is 85, 134 is 130."""
    size = 10.0 ** math.floor(math.log10(number))
    step = size / 10 if number < 3 * size else size / 2
    return float(f"{round(number / step) * step:.6g}")
