"""How far `read_medium` agrees with a coding by hand, and what it leaves unread.

    python -m tests.real_records.medium_agreement RECORDS...

RECORDS are tables with the columns ``source``, ``record_id`` and ``medium_text``. The coding,
``medium_coding.csv``, holds no text: it names records. Its rows ``develop`` were at hand while the
rules were written; the rows ``held`` were coded before the rules had read them, and say how good the
rules are on texts that they were not written for. One text counts once, however many records bear it.

*Exact*: the same values with the same weights. *Compatible*: every value coded is among those that
the reading holds likely (at least half the weight of the likeliest).
"""

from __future__ import annotations

import csv
import json
import math
import os
import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from scarfdate import Priors, load_priors
from scarfdate.reading.medium import read_medium

FAMILIES = ("fibre", "weave", "print_technique")
CODING = Path(__file__).with_name("medium_coding.csv")
_ALIKE = 0.01  # weights written with two digits
_LIKELY = 0.5
COMMONEST = 30


@dataclass(frozen=True)
class Agreement:
    """Texts of one family: how many state it, and how the reading compares."""

    stated: int  # coded with a value
    exact: int
    compatible: int
    overlooked: int  # coded, and nothing read
    not_stated: int  # coded blank
    invented: int  # coded blank, and something read

    @property
    def judged(self) -> int:
        """Texts of which the coding or the reading says something."""
        return self.stated + self.invented

    def share(self, count: int) -> tuple[float, float]:
        """A share of the judged texts, and its binomial standard error."""
        share = count / self.judged
        return share, math.sqrt(share * (1 - share) / self.judged)


def read_coding(path: Path = CODING) -> list[dict[str, str]]:
    """The rows of the coding."""
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def read_texts(paths: Sequence[Path]) -> dict[tuple[str, str], str]:
    """Medium texts by source and record."""
    texts: dict[tuple[str, str], str] = {}
    for path in paths:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            for row in csv.DictReader(stream):
                if row["medium_text"].strip():
                    texts[row["source"], row["record_id"]] = row["medium_text"]
    return texts


def weights(priors: Priors, family: str, clue: object) -> dict[str, float]:
    """A word or weights as weights over values, the largest being 1; nothing where nothing is said."""
    terms = {clue: 1.0} if isinstance(clue, str) else clue
    assert isinstance(terms, Mapping)
    found: dict[str, float] = {}
    for word, weight in terms.items():
        for value in priors.vocabulary.children(family, word):
            found[value] = found.get(value, 0.0) + weight
    most = max(found.values())
    return {value: weight / most for value, weight in found.items()}


def agreement(
    texts: Mapping[tuple[str, str], str], split: str, differences: list[str] | None = None
) -> dict[str, Agreement]:
    """Agreement by family on the rows of one split; what differs is added to ``differences``."""
    priors = load_priors()
    found: dict[str, Agreement] = {}
    rows = [row for row in read_coding() if row["split"] == split]
    for family in FAMILIES:
        count: Counter[str] = Counter()
        for row in rows:
            key = (row["source"], row["record_id"])
            if key not in texts:
                continue
            clue = read_medium(texts[key], priors=priors).clues.get(family)
            cell = row[family]
            if not cell:
                count["not stated"] += 1
                count["invented"] += clue is not None
                exact = clue is None
            else:
                count["stated"] += 1
                count["overlooked"] += clue is None
                exact = False
                if clue is not None:
                    coded = weights(
                        priors, family, json.loads(cell) if cell.startswith("{") else cell
                    )
                    read = weights(priors, family, clue)
                    exact = coded.keys() == read.keys() and all(
                        abs(coded[value] - read[value]) < _ALIKE for value in coded
                    )
                    count["exact"] += exact
                    count["compatible"] += all(
                        read.get(value, 0) >= _LIKELY - _ALIKE for value in coded
                    )
            if not exact and differences is not None:
                says = clue if clue is None or isinstance(clue, str) else dict(clue)
                differences.append(
                    f"{family}: {' '.join(key)}: coded {cell or '(nothing)'}, read {says}"
                )
        found[family] = Agreement(
            count["stated"],
            count["exact"],
            count["compatible"],
            count["overlooked"],
            count["not stated"],
            count["invented"],
        )
    return found


def unread(texts: Mapping[tuple[str, str], str]) -> tuple[float, float, float, Counter[str]]:
    """Shares with unread words (of records; of distinct texts) and without clues; the words."""
    priors = load_priors()
    copies = Counter(texts.values())
    words: Counter[str] = Counter()
    records = distinct = nothing = 0
    for text, count in copies.items():
        medium = read_medium(text, priors=priors)
        records += count * bool(medium.unread)
        distinct += bool(medium.unread)
        nothing += count * (not medium.clues)
        for word in set(medium.unread):
            words[word] += count
    return records / len(texts), distinct / len(copies), nothing / len(texts), words


def main() -> None:
    """Print the agreement, the shares unread and the commonest unread words."""
    default = os.environ.get("SCARFDATE_SHARED", str(Path(__file__).parents[3] / "shared"))
    folder = Path(default) / "museum"
    given = [Path(name) for name in sys.argv[1:]]
    texts = read_texts(given or [folder / "records.csv", folder / "harvested.csv"])
    for split in ("develop", "held"):
        differences: list[str] = []
        print(f"{split:16} judged  exact        compatible   overlooked  invented")
        for family, found in agreement(texts, split, differences).items():
            exact, error = found.share(found.exact)
            compatible, other = found.share(found.compatible)
            print(
                f"  {family:15} {found.judged:5}  {exact:.3f} ±{error:.3f}"
                f"  {compatible:.3f} ±{other:.3f} {found.overlooked:10} {found.invented:9}"
            )
        print(*(f"    {line}" for line in differences), sep="\n")
    records, distinct, nothing, words = unread(texts)
    print(f"records with unread words: {records:.1%}; distinct texts: {distinct:.1%}")
    print(f"records from which nothing is read: {nothing:.1%}")
    commonest = sorted(words.items(), key=lambda item: (-item[1], item[0]))[:COMMONEST]
    print(", ".join(f"{word} {count}" for word, count in commonest))


if __name__ == "__main__":
    main()
