"""What lies in ``worth/`` about the condition of a piece: faults, grades, mending, cautions, and their words."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise, product

from scarfdate.errors import did_you_mean
from scarfdate.frozen import frozen
from scarfdate.tables.checked import Row, Table
from scarfdate.tables.listing import LANGUAGES
from scarfdate.tables.schema import schema

ANY = "any"
CONDITION = tuple(
    f"worth/{name}.csv"
    for name in (
        "fault_kinds", "fault_sizes", "faults", "cloth_only", "condition_grades", "mending",
        "condition_cautions", "fault_words", "fault_phrases",
    )
)  # fmt: skip
_WORDS = schema().words
KINDS = _WORDS["kinds of fault"]
PLACES = _WORDS["places of a fault"]
SIZES = _WORDS["sizes of a fault"]
DEGREES = _WORDS["degrees of a fault"]
LONGEST_MM = next(
    line.high or math.inf
    for line in schema().tables["worth/fault_sizes.csv"].lines
    if line.name == "mm"
)
_FIELD = re.compile(r"\{(\w*)\}")
_IN_FAULT = ("doubt", "number", "degree", "size", "kind", "measure", "place", "spreading", "mended")
FORM_OF = ("form of one", "form of many")
_FORMS = ("1", "2", "3", "4")  # no language here has more
_STATES = {"mended": (), "doubtful": (), "decimal": (), "measure": ("mm",), "faultless": ()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """One row of ``faults.csv``: what a fault costs, -log of the part kept; the same where it still spreads."""

    mm: float
    loss: float
    spreading: float
    log_sd: float


@dataclass(frozen=True, kw_only=True)
class FaultKind:
    """One kind of fault.

    ``places``, ``sizes``: how common each is where it was not noted, 0 to 1; ``mm``: the longest stretch by
    size word, empty for a kind that has no size; ``losses``: by place the rows in the order of their sizes.
    ``spreads``, ``more``, ``faint``, ``strong``: as in ``fault_kinds.csv``, as shares.
    """

    name: str
    spreads: float
    more: float
    degrees: Mapping[str, float]
    places: Mapping[str, float]
    sizes: Mapping[str, float]
    mm: Mapping[str, float]
    losses: Mapping[str, tuple[Loss, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionGrade:
    """Plain words for a condition: ``least`` and ``stated`` are shares of a faultless price, 0 to 1."""

    grade: str
    least: float
    stated: float
    log_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Mending:
    """One thing that can be done about one kind of fault; ``risk`` and ``won_back`` are shares, 0 to 1.

    ``largest``: in mm, NaN for any size. ``cautions``: their names.
    """

    kind: str
    what: str
    largest: float
    minutes: float
    cost: str
    risk: float
    won_back: float
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """What to beware of, by language, and the kinds of fault with which it is said."""

    name: str
    kinds: tuple[str, ...]
    text: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultWord:
    """A word of a condition as people write it: what it tells of, the word of the tables or a number, and how a
    listing calls it ("" as its kind)."""

    word: str
    gives: str
    means: str
    named: str = ""


@dataclass(frozen=True, kw_only=True)
class ConditionTables:
    """All tables of the condition. ``cloth_only``: kind, whether it has to spread, and the kind beside it."""

    kinds: Mapping[str, FaultKind]
    cloth_only: tuple[tuple[str, bool, str], ...]
    grades: tuple[ConditionGrade, ...]
    mending: tuple[Mending, ...]
    cautions: Mapping[str, Caution]
    words: tuple[FaultWord, ...]
    phrases: Mapping[tuple[str, str], Mapping[str, str]]

    def grade(self, name: str) -> ConditionGrade:
        """The grade of these words; there has to be one."""
        return next(one for one in self.grades if one.grade == name)

    @property
    def cloth(self) -> ConditionGrade:
        """What is left where only the cloth is."""
        return self.grades[-1]


def read_condition_tables(tables: Mapping[str, Table]) -> ConditionTables:
    """All of `CONDITION`; tables by which a worse fault would leave more than a lesser one are a fault."""
    kinds, sizes, faults, cloth, grades, mending, cautions, words, phrases = (
        tables[name] for name in CONDITION
    )
    read_grades = _read_grades(grades)
    return ConditionTables(
        kinds=frozen(_read_kinds(kinds, sizes, faults)),
        cloth_only=tuple(
            (row["kind"], row["spreading"] == "yes", row["with"]) for row in cloth.rows
        ),
        grades=read_grades,
        mending=tuple(
            row.read_as(Mending, risk=row["risk"] / 100, won_back=row["won_back"] / 100)
            for row in mending.rows
        ),
        cautions=frozen({row["caution"]: _read_caution(row) for row in cautions.rows}),
        words=_read_words(words, [grade.grade for grade in read_grades]),
        phrases=frozen(_read_phrases(phrases, words, [grade.grade for grade in read_grades])),
    )


def _read_kinds(kinds: Table, sizes: Table, faults: Table) -> dict[str, FaultKind]:
    found = {}
    for row in kinds.rows:
        name, measured = row["kind"], row["measured"] == "yes"
        own = {size["size"]: size for size in sizes.rows if size["kind"] == name}
        if sizes.whole and tuple(own) != (SIZES if measured else ()):
            needed = ", ".join(SIZES) if measured else "none, for it is not measured"
            sizes.fault(None, "size", f"the sizes of {name} in their order are {needed}")
        if (
            measured
            and sizes.whole
            and not math.isclose(sum(one["usual"] for one in own.values()), 100)
        ):
            sizes.fault(None, "usual", "the shares of a kind add up to 100", name)
        for less, more in pairwise(own.values()):
            if more["mm"] <= less["mm"]:
                sizes.fault(more, "mm", "a larger size is longer", more["mm"])
        found[name] = FaultKind(
            name=name,
            spreads=row["spreads"] / 100,
            more=row["more"] / 100,
            degrees=frozen({degree: row[degree] / 100 for degree in DEGREES}),
            places=frozen({place: row[place] / 100 for place in PLACES}),
            sizes=frozen({size: one["usual"] / 100 for size, one in own.items()}),
            mm=frozen({size: one["mm"] for size, one in own.items()}),
            losses=frozen(
                _read_losses(faults, name, {size: one["mm"] for size, one in own.items()})
            ),
        )
    for name in KINDS if kinds.whole else ():
        if name not in found:
            kinds.fault(None, "kind", "a row is missing", name)
    return found


def _read_losses(table: Table, kind: str, mm: Mapping[str, float]) -> dict[str, tuple[Loss, ...]]:
    """The rows of one kind by place; the tiny may be missing, the others not."""
    rows = {(row["place"], row["size"]): row for row in table.rows if row["kind"] == kind}
    places = (ANY,) if any(place == ANY for place, _ in rows) else PLACES
    sizes = SIZES if mm else (ANY,)
    found = {}
    for place in places:
        own = [(size, rows[place, size]) for size in sizes if (place, size) in rows]
        found[place] = tuple(_read_loss(row, mm.get(size, math.nan)) for size, row in own)
        for (_, less), (_, more) in pairwise(own):
            for column in ("kept", "spreading"):
                if more[column] > less[column]:
                    table.fault(more, column, "a larger fault leaves more", more[column])
        for _, row in own:
            if row["spreading"] > row["kept"]:
                table.fault(row, "spreading", "leaves more than one that rests", row["spreading"])
    for place, size in product(places, sizes) if table.whole else ():
        if (place, size) not in rows and size != SIZES[0]:
            table.fault(None, "size", "a row is missing", f"{kind}, {place}, {size}")
    for place, size in rows:
        if place not in places or size not in sizes:
            problem = "any and single ones do not go together, nor a size with what has none"
            table.fault(rows[place, size], "place", problem, f"{kind}, {place}, {size}")
    return found


def _read_loss(row: Row, mm: float) -> Loss:
    loss = -math.log(row["kept"] / 100)
    blank = math.isnan(row["spreading"])
    spreading = loss if blank else -math.log(row["spreading"] / 100)
    return Loss(mm=mm, loss=loss, spreading=spreading, log_sd=row["log_sd"])


def _read_grades(table: Table) -> tuple[ConditionGrade, ...]:
    rows = table.rows
    for better, worse in pairwise(rows):
        for column in ("least", "stated"):
            if worse[column] >= better[column]:
                table.fault(worse, column, "falls from row to row", worse[column])
        if worse["stated"] > better["least"]:
            table.fault(worse, "stated", "lies in a better grade", worse["stated"])
    for row in rows:
        if row["stated"] < row["least"]:
            table.fault(row, "stated", "lies in a worse grade", row["stated"])
    if table.whole and rows[-1]["least"] != 0:
        table.fault(rows[-1], "least", "the last grade begins at 0", rows[-1]["least"])
    return tuple(
        row.read_as(ConditionGrade, least=row["least"] / 100, stated=row["stated"] / 100)
        for row in rows
    )


def _read_caution(row: Row) -> Caution:
    text = frozen({language: row[language] for language in LANGUAGES})
    return Caution(name=row["caution"], kinds=row["kinds"], text=text)


def _read_words(table: Table, grades: list[str]) -> tuple[FaultWord, ...]:
    allowed = {
        "kind": KINDS, "kinds": KINDS, "without": KINDS, "mended": ("repair",), "place": PLACES, "size": SIZES, "degree": DEGREES,
        "spreading": ("yes", "no"), "grade": grades, "unit": ("mm", "cm", "in"),
    }  # fmt: skip
    for row in table.rows:
        gives, means = row["gives"], row["means"]
        if gives in ("count", "about"):
            if not re.fullmatch(r"[1-9]\d{0,2}", means):
                table.fault(row, "means", "is a number from 1 to 999", means)
        elif means not in allowed.get(gives, ("",)):
            known = allowed.get(gives, ())
            step = did_you_mean(means, known) if known else "leave it blank"
            table.fault(row, "means", f"nothing that a word of {gives} can mean", means, step)
    return tuple(row.read_as(FaultWord) for row in table.rows)


def _read_phrases(
    table: Table, words: Table, grades: list[str]
) -> dict[tuple[str, str], Mapping[str, str]]:
    named = [(row["gives"], row.get("named", "")) for row in words.rows]
    called = [*KINDS, *dict.fromkeys(name for gives, name in named if name and gives != "grade")]
    needed: dict[tuple[str, str], tuple[str, ...]] = {
        **dict.fromkeys(product(("one", "many"), called), ()),
        **{("one", name): () for gives, name in named if name and gives == "grade"},
        **dict.fromkeys((("place", place) for place in PLACES), ()),
        **dict.fromkeys((("size", size) for size in SIZES), ()),
        **dict.fromkeys((("degree", degree) for degree in DEGREES), ()),
        **dict.fromkeys((("spreading", word) for word in ("yes", "no")), ()),
        **{("state", name): fields for name, fields in _STATES.items()},
        ("pattern", "fault"): _IN_FAULT,
        **dict.fromkeys((("grade", grade) for grade in grades), ()),
    }
    # without these a folder of before says a little less
    allowed = (
        needed | dict.fromkeys(product(FORM_OF, called), ()) | {("state", "denied"): ("kinds",)}
    )
    found: dict[tuple[str, str], Mapping[str, str]] = {}
    for row in table.rows:
        key = row["part"], row["word"]
        if key not in allowed:
            table.fault(row, "word", f"not a word of {row['part']}", row["word"])
            continue
        for language in LANGUAGES:
            if row["part"] in FORM_OF and row[language] not in _FORMS:
                table.fault(row, language, "is the number of a form", row[language])
            if sorted(_FIELD.findall(row[language])) != sorted(allowed[key]):
                wanted = " ".join(f"{{{name}}}" for name in allowed[key]) or "none"
                problem = "has other braces than it needs"
                table.fault(row, language, problem, row[language], f"needed: {wanted}")
        found[key] = frozen({language: row[language] for language in LANGUAGES})
    for part, word in needed if table.whole else ():
        if (part, word) not in found:
            table.fault(None, "word", "a phrase is missing", f"{part}, {word}")
    return found
