"""``medium_rules.csv`` and ``medium_together.csv`` read into `MediumRules`, held against the vocabulary."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from scarfdate.errors import WordError, did_you_mean
from scarfdate.tables.checked import Row, Table
from scarfdate.tables.knots import ANY
from scarfdate.tables.medium import METHOD, Act, MediumRules, Phrase, Reading, Together
from scarfdate.tables.sheet import Basis
from scarfdate.tables.words import Vocabulary
from scarfdate.words.phrases import Phrases, medium_tokens

ACTS = ("skip", "or", "and", "stop", "not", "ground", "part", "part-next")
_ASIDE = ("part", "part-next")  # these may stand in a phrase that gives a value, too
_AMOUNTS = {"doubt-next": (0.0, 1.0), "doubt-last": (0.0, 1.0), "leading": (0.0, 100.0)}
_NEEDS_FAMILY = ("ground", "leading")
_YIELDS = "yields"
_SLACK = 0.011  # three times 0.33 is what people write for thirds
_LONGEST_PHRASE = 12  # tokens; matching is linear in the text because a phrase is short


def read_medium_rules(tables: Mapping[str, Table], vocabulary: Vocabulary) -> MediumRules:
    """Both files, checked against the vocabulary and against themselves."""
    rules, beside = tables["medium_rules.csv"], tables["medium_together.csv"]
    phrases = _read_phrases(rules, vocabulary)
    together, several = _read_together(beside, vocabulary)
    tree = Phrases[Phrase]()
    for phrase in phrases:
        tree.add(medium_tokens(phrase.text), phrase)
    return MediumRules(
        tree=tree,
        phrases=phrases,
        together=MappingProxyType(together),
        several=MappingProxyType(several),
        leading=MappingProxyType(_leading(phrases, rules)),
    )


def _leading(phrases: Iterable[Phrase], table: Table) -> dict[str, float]:
    """The leading share of each family: the same in every row that marks percentages."""
    leading: dict[str, float] = {}
    for phrase in phrases:
        act = phrase.act
        if act is not None and act.name == "leading":
            share = leading.setdefault(act.family, act.amount)
            if share != act.amount:
                problem = f"another row leads {act.family} from {share:g}"
                step = "write one number in all rows"
                table.sheet.fault(act.basis.row, "gives", problem, act.amount, step)
    return leading


@dataclass
class _Rows:
    """The rows of one phrase while the file is read."""

    text: str
    readings: list[Reading] = field(default_factory=list)
    methods: list[tuple[str, str, Basis]] = field(default_factory=list)
    acts: list[Act] = field(default_factory=list)


def _read_phrases(table: Table, vocabulary: Vocabulary) -> tuple[Phrase, ...]:
    found: dict[tuple[str, ...], _Rows] = {}
    seen: set[tuple[tuple[str, ...], str]] = set()
    for row in table.rows:
        text, family, gives = row["phrase"], row["family"], row["gives"]
        key = tuple(token for token, _, _ in medium_tokens(text))
        if not 0 < len(key) <= _LONGEST_PHRASE:
            table.fault(row, "phrase", f"a phrase has 1 to {_LONGEST_PHRASE} words", text)
            continue
        rows = found.setdefault(key, _Rows(text))
        if (key, family) in seen:
            table.fault(row, "phrase", f"stands twice for family {family or '(none)'}", text)
        seen.add((key, family))
        if family and family.removesuffix(METHOD) not in vocabulary.values:
            continue  # that the family has no values is said of the vocabulary
        if family.endswith(METHOD):
            methods = vocabulary.values.get("method", ())
            if gives in methods:
                rows.methods.append((family.removesuffix(METHOD), gives, row.basis))
            else:
                table.fault(row, "gives", "not a method", gives, did_you_mean(gives, methods))
        elif not family or gives in _NEEDS_FAMILY or gives in _ASIDE or _amount_name(gives):
            act = _read_act(table, row)
            if act is not None:
                rows.acts.append(act)
        else:
            reading = _read_reading(table, row, vocabulary)
            if reading is not None:
                rows.readings.append(reading)
        if len(rows.acts) > 1:
            table.fault(row, "gives", "a phrase has one act as a connecting word", text)
        if rows.acts and rows.acts[0].name not in _ASIDE and (rows.readings or rows.methods):
            table.fault(row, "gives", "a connecting word gives no value beside", text)
    return tuple(
        Phrase(
            text=rows.text,
            readings=tuple(rows.readings),
            methods=tuple(rows.methods),
            act=rows.acts[0] if rows.acts else None,
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


def _read_act(table: Table, row: Row) -> Act | None:
    family, gives = row["family"], row["gives"]
    name, amount = gives, math.nan
    parsed = _parsed(gives)
    if parsed is not None:
        name = _amount_name(gives)
        number = parsed.get(name)
        low, high = _AMOUNTS.get(name, (0.0, 1.0))
        if len(parsed) != 1 or isinstance(number, bool) or not isinstance(number, int | float):
            step = 'write it as {"doubt-last": 0.7}, or name a family'
            table.fault(row, "gives", "not an act with one amount", gives, step)
            return None
        amount = float(number)
        if not low < amount <= high:
            table.fault(row, "gives", f"must lie above {low:g}, up to {high:g}", f"{amount:g}")
            return None
    elif name not in ACTS:
        step = did_you_mean(name, ACTS) + "; a value needs its family"
        table.fault(row, "gives", "not an act of a connecting word", gives, step)
        return None
    if (name in _NEEDS_FAMILY) > bool(family):
        table.fault(row, "family", f"{name} needs a family", "an empty cell")
        return None
    if family and name.startswith("doubt"):
        table.fault(row, "family", f"{name} is of no one family", family, "leave it empty")
        return None
    return Act(name=name, amount=amount, family=family, basis=row.basis)


def _read_reading(table: Table, row: Row, vocabulary: Vocabulary) -> Reading | None:
    family, gives = row["family"], row["gives"]
    parsed = _parsed(gives)
    weights: dict[str, object] = {gives: 1} if parsed is None else parsed
    terms: dict[str, float] = {}
    for text, weight in weights.items():
        try:
            word = vocabulary.canonical(family, text)
        except WordError as error:
            table.fault(row, "gives", f"no word of family {family}", text, str(error))
            return None
        if isinstance(weight, bool) or not isinstance(weight, int | float) or not weight > 0:
            table.fault(row, "gives", "a weight is a number above 0", str(weight))
            return None
        if not word or word in terms:
            table.fault(row, "gives", "a word says nothing, or stands twice", text)
            return None
        terms[word] = float(weight)
    total = math.fsum(terms.values())
    if not abs(total - 1) <= _SLACK:
        step = 'write them as {"silk": 0.8, "polyester": 0.2}'
        table.fault(row, "gives", "weights sum to 1", f"{total:g}", step)
        return None
    values = frozenset(value for word in terms for value in vocabulary.children(family, word))
    scaled = tuple((word, weight / total) for word, weight in terms.items())
    return Reading(family=family, gives=gives, terms=scaled, values=values, basis=row.basis)


def _read_together(
    table: Table, vocabulary: Vocabulary
) -> tuple[dict[str, tuple[Together, ...]], dict[str, str]]:
    together: dict[str, tuple[Together, ...]] = {}
    several: dict[str, str] = {}
    for row in table.rows:
        family, gives = row["family"], row["gives"]
        if family not in vocabulary.values:
            continue
        words = _words(table, row, "words", vocabulary)
        beside = _words(table, row, "beside", vocabulary)
        if gives == _YIELDS:
            meant = {value for word in beside for value in vocabulary.children(family, word)}
            narrower = {
                parent
                for parent, children in vocabulary.parents[family].items()
                if meant.issuperset(children)
            }
            one = Together(words, frozenset(beside | meant | narrower))
            together[family] = (*together.get(family, ()), one)
        elif gives not in vocabulary.values[family]:
            step = did_you_mean(gives, [_YIELDS, *vocabulary.values[family]])
            table.fault(row, "gives", f"{_YIELDS}, or a value of the family", gives, step)
        elif words or beside:
            table.fault(row, "words", f"a value is given for {ANY} words beside {ANY}")
        elif family in several:
            table.fault(row, "family", f"{ANY} beside {ANY} stands there twice", family)
        else:
            several[family] = gives
    return together, several


def _words(table: Table, row: Row, column: str, vocabulary: Vocabulary) -> frozenset[str]:
    """The words of a cell, written ``a | b``; none at all for "any"."""
    family, text = row["family"], row[column]
    found = set()
    for word in (part.strip() for part in text.split("|")):
        if text == ANY:
            break
        if word in vocabulary.values[family] or word in vocabulary.parents[family]:
            found.add(word)
        else:
            known = [*vocabulary.values[family], *vocabulary.parents[family]]
            step = did_you_mean(word, known)
            table.fault(row, column, f"neither a value nor a parent of {family}", word, step)
    return frozenset(found)
