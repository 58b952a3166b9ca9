"""The phrases that a museum's medium text is read by: ``medium_rules.csv``, ``medium_together.csv``.

A row of the first gives one phrase and what it says: a value, a parent word or weights of one family,
or what a connecting word does. A row of the second says what two words of one family come to where a
text states both ("silk, metallic thread" is a silk; "silk and cotton" a blend).
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

from scarfdate.errors import Fault, WordError, did_you_mean
from scarfdate.tables.families import Family
from scarfdate.tables.sheet import Basis, Sheet, read_sheet
from scarfdate.tables.vocabulary import Vocabulary
from scarfdate.words.phrases import Phrases, medium_tokens

MEDIUM_FILES = ("medium_rules.csv", "medium_together.csv")
ACTS = ("skip", "or", "and", "stop", "not", "ground", "part", "part-next")
_ASIDE = ("part", "part-next")  # these may stand in a phrase that gives a value, too
_AMOUNTS = {"doubt-next": (0.0, 1.0), "doubt-last": (0.0, 1.0), "leading": (0.0, 100.0)}
_NEEDS_FAMILY = ("ground", "leading")
_METHOD = "_method"  # fibre_method, as the column of a table of scarves is called
_ANY = "any"
_YIELDS = "yields"
_SLACK = 0.011  # three times 0.33 is what people write for thirds
_LONGEST_PHRASE = 12  # tokens; matching is linear in the text because a phrase is short


@dataclass(frozen=True, slots=True)
class Reading:
    """What one phrase says of one family: ``terms`` are words with weights, ``values`` all meant."""

    family: str
    gives: str
    terms: tuple[tuple[str, float], ...]
    values: frozenset[str]
    basis: Basis

    @property
    def clue(self) -> str | Mapping[str, float]:
        """The one word, or the weights."""
        if len(self.terms) == 1:
            return self.terms[0][0]
        return MappingProxyType(dict(sorted(self.terms)))


@dataclass(frozen=True, slots=True)
class Act:
    """What a connecting word does; ``amount`` for a doubt (0 to 1) or a leading share (per cent)."""

    name: str
    amount: float
    family: str
    basis: Basis


@dataclass(frozen=True)
class Phrase:
    """One phrase and all its rows."""

    text: str
    readings: tuple[Reading, ...]
    methods: tuple[tuple[str, str, Basis], ...]
    act: Act | None

    @cached_property
    def gives(self) -> Mapping[str, str]:
        """Family (or family_method) to what the rules give; a connecting word under ""."""
        given = {reading.family: reading.gives for reading in self.readings}
        given.update({family + _METHOD: method for family, method, _ in self.methods})
        if self.act is not None:
            given[""] = self.act.name
        return MappingProxyType(given)


@dataclass(frozen=True, slots=True)
class Together:
    """``words`` of a family give way where one of ``beside`` is stated, too."""

    words: frozenset[str]
    beside: frozenset[str]


@dataclass(frozen=True)
class MediumRules:
    """Every rule for reading medium texts.

    ``tree`` has every phrase by its tokens. ``several``: what a family is called where words differ;
    ``leading``: the per cent from which one word of it leads.
    """

    tree: Phrases[Phrase] = field(repr=False)
    phrases: tuple[Phrase, ...] = field(repr=False)
    together: Mapping[str, tuple[Together, ...]] = field(repr=False)
    several: Mapping[str, str] = field(repr=False)
    leading: Mapping[str, float] = field(repr=False)


def read_medium_rules(
    files: Mapping[str, bytes],
    vocabulary: Vocabulary,
    families: Mapping[str, Family],
    faults: list[Fault],
) -> MediumRules:
    """Both files, checked; every fault is added to ``faults`` with its file, row and column."""
    for name in MEDIUM_FILES:
        if name not in files:
            faults.append(Fault(name, None, None, "the file is missing", "", "put the file back"))
    shares = [
        family.name
        for family in families.values()
        if family.kind == "shares" and family.name in vocabulary.values
    ]
    phrases: tuple[Phrase, ...] = ()
    if MEDIUM_FILES[0] in files:
        phrases = _read_phrases(files[MEDIUM_FILES[0]], vocabulary, shares, faults)
    together: dict[str, tuple[Together, ...]] = {}
    several: dict[str, str] = {}
    if MEDIUM_FILES[1] in files:
        together, several = _read_together(files[MEDIUM_FILES[1]], vocabulary, shares, faults)
    tree = Phrases[Phrase]()
    for phrase in phrases:
        tree.add(medium_tokens(phrase.text), phrase)
    return MediumRules(
        tree,
        phrases,
        MappingProxyType(together),
        MappingProxyType(several),
        MappingProxyType(_leading(phrases, faults)),
    )


def _leading(phrases: Iterable[Phrase], faults: list[Fault]) -> dict[str, float]:
    """The leading share of each family: the same in every row that marks percentages."""
    leading: dict[str, float] = {}
    for phrase in phrases:
        act = phrase.act
        if act is not None and act.name == "leading":
            share = leading.setdefault(act.family, act.amount)
            if share != act.amount:
                problem = f"another row leads {act.family} from {share:g}"
                step = "write one number in all rows"
                faults.append(
                    Fault(MEDIUM_FILES[0], act.basis.row, "gives", problem, f"{act.amount:g}", step)
                )
    return leading


@dataclass
class _Rows:
    """The rows of one phrase while the file is read."""

    text: str
    readings: list[Reading] = field(default_factory=list)
    methods: list[tuple[str, str, Basis]] = field(default_factory=list)
    acts: list[Act] = field(default_factory=list)


def _read_phrases(
    content: bytes, vocabulary: Vocabulary, shares: list[str], faults: list[Fault]
) -> tuple[Phrase, ...]:
    columns = ("phrase", "language", "family", "gives")
    sheet = read_sheet(MEDIUM_FILES[0], content, columns, faults)
    allowed = [*shares, *(name + _METHOD for name in shares)]
    found: dict[tuple[str, ...], _Rows] = {}
    seen: set[tuple[tuple[str, ...], str]] = set()
    for line, row in sheet.rows:
        text, basis = sheet.text(line, "phrase"), sheet.basis(line)
        sheet.text(line, "language")
        key = tuple(token for token, _, _ in medium_tokens(text))
        if text and not 0 < len(key) <= _LONGEST_PHRASE:
            sheet.fault(line, "phrase", f"a phrase has 1 to {_LONGEST_PHRASE} words", text)
            continue
        rows = found.setdefault(key, _Rows(text))
        family, gives = row["family"], sheet.text(line, "gives")
        if (key, family) in seen:
            sheet.fault(line, "phrase", f"stands twice for family {family or '(none)'}", text)
        seen.add((key, family))
        if family and family not in allowed:
            sheet.fault(line, "family", "no such family", family, did_you_mean(family, allowed))
        elif not gives:
            continue
        elif family.endswith(_METHOD):
            methods = vocabulary.values.get("method", ())
            if sheet.word(line, "gives", methods) == gives:
                rows.methods.append((family.removesuffix(_METHOD), gives, basis))
        elif not family or gives in _NEEDS_FAMILY or gives in _ASIDE or _amount_name(gives):
            act = _read_act(sheet, line, family, gives, basis)
            if act is not None:
                rows.acts.append(act)
        else:
            reading = _read_reading(sheet, line, family, gives, basis, vocabulary)
            if reading is not None:
                rows.readings.append(reading)
        if len(rows.acts) > 1:
            sheet.fault(line, "gives", "a phrase has one act as a connecting word", text)
        if rows.acts and rows.acts[0].name not in _ASIDE and (rows.readings or rows.methods):
            sheet.fault(line, "gives", "a connecting word gives no value beside", text)
    return tuple(
        Phrase(
            rows.text,
            tuple(rows.readings),
            tuple(rows.methods),
            rows.acts[0] if rows.acts else None,
        )
        for rows in found.values()
        if rows.readings or rows.methods or rows.acts
    )


def _amount_name(gives: str) -> str:
    """The name of an act with an amount, such as {"doubt-last": 0.7}; "" for anything else."""
    parsed = _parsed(gives)
    names = [name for name in _AMOUNTS if parsed and name in parsed]
    return names[0] if names else ""


def _parsed(gives: str) -> dict[str, object] | None:
    if not gives.startswith("{"):
        return None
    try:
        parsed = json.loads(gives)
    except (ValueError, RecursionError):
        return {}
    return parsed if isinstance(parsed, dict) else {}


def _read_act(sheet: Sheet, line: int, family: str, gives: str, basis: Basis) -> Act | None:
    name, amount = gives, math.nan
    parsed = _parsed(gives)
    if parsed is not None:
        name = _amount_name(gives)
        number = parsed.get(name)
        low, high = _AMOUNTS.get(name, (0.0, 1.0))
        if len(parsed) != 1 or isinstance(number, bool) or not isinstance(number, int | float):
            step = 'write it as {"doubt-last": 0.7}, or name a family'
            sheet.fault(line, "gives", "not an act with one amount", gives, step)
            return None
        amount = float(number)
        if not low < amount <= high:
            sheet.fault(line, "gives", f"must lie above {low:g}, up to {high:g}", f"{amount:g}")
            return None
    elif name not in ACTS:
        step = did_you_mean(name, ACTS) + "; a value needs its family"
        sheet.fault(line, "gives", "not an act of a connecting word", gives, step)
        return None
    if (name in _NEEDS_FAMILY) > bool(family):
        sheet.fault(line, "family", f"{name} needs a family", "an empty cell")
        return None
    if family and name.startswith("doubt"):
        sheet.fault(line, "family", f"{name} is of no one family", family, "leave it empty")
        return None
    return Act(name, amount, family, basis)


def _read_reading(
    sheet: Sheet, line: int, family: str, gives: str, basis: Basis, vocabulary: Vocabulary
) -> Reading | None:
    parsed = _parsed(gives)
    weights: dict[str, object] = {gives: 1} if parsed is None else parsed
    terms: dict[str, float] = {}
    for text, weight in weights.items():
        try:
            word = vocabulary.canonical(family, text)
        except WordError as error:
            sheet.fault(line, "gives", f"no word of family {family}", text, str(error))
            return None
        if isinstance(weight, bool) or not isinstance(weight, int | float) or not weight > 0:
            sheet.fault(line, "gives", "a weight is a number above 0", str(weight))
            return None
        if not word or word in terms:
            sheet.fault(line, "gives", "a word says nothing, or stands twice", text)
            return None
        terms[word] = float(weight)
    total = math.fsum(terms.values())
    if not abs(total - 1) <= _SLACK:
        step = 'write them as {"silk": 0.8, "polyester": 0.2}'
        sheet.fault(line, "gives", "weights sum to 1", f"{total:g}", step)
        return None
    values = frozenset(value for word in terms for value in vocabulary.children(family, word))
    scaled = tuple((word, weight / total) for word, weight in terms.items())
    return Reading(family, gives, scaled, values, basis)


def _read_together(
    content: bytes, vocabulary: Vocabulary, shares: list[str], faults: list[Fault]
) -> tuple[dict[str, tuple[Together, ...]], dict[str, str]]:
    columns = ("family", "words", "beside", "gives")
    sheet = read_sheet(MEDIUM_FILES[1], content, columns, faults)
    together: dict[str, tuple[Together, ...]] = {}
    several: dict[str, str] = {}
    for line, _ in sheet.rows:
        sheet.basis(line)
        family = sheet.text(line, "family")
        if family not in shares:
            sheet.fault(line, "family", "no such family", family, did_you_mean(family, shares))
            continue
        words = _words(sheet, line, "words", family, vocabulary)
        beside = _words(sheet, line, "beside", family, vocabulary)
        gives = sheet.text(line, "gives")
        if gives == _YIELDS:
            meant = {value for word in beside for value in vocabulary.children(family, word)}
            narrower = {
                parent
                for parent, children in vocabulary.parents[family].items()
                if meant.issuperset(children)
            }
            row = Together(words, frozenset(beside | meant | narrower))
            together[family] = (*together.get(family, ()), row)
        elif gives not in vocabulary.values[family]:
            step = did_you_mean(gives, [_YIELDS, *vocabulary.values[family]])
            sheet.fault(line, "gives", f"{_YIELDS}, or a value of the family", gives, step)
        elif words or beside:
            sheet.fault(line, "words", f"a value is given for {_ANY} words beside {_ANY}")
        elif family in several:
            sheet.fault(line, "family", f"{_ANY} beside {_ANY} stands there twice", family)
        else:
            several[family] = gives
    return together, several


def _words(
    sheet: Sheet, line: int, column: str, family: str, vocabulary: Vocabulary
) -> frozenset[str]:
    """The words of a cell, written ``a | b``; none at all for "any"."""
    text = sheet.text(line, column)
    found = set()
    for word in (part.strip() for part in text.split("|")):
        if text == _ANY:
            break
        if word in vocabulary.values[family] or word in vocabulary.parents[family]:
            found.add(word)
        else:
            known = [*vocabulary.values[family], *vocabulary.parents[family]]
            step = did_you_mean(word, known)
            sheet.fault(line, column, f"neither a value nor a parent of {family}", word, step)
    return frozenset(found)
