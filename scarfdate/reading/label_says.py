"""What follows for a label that is read: where it was offered, what is unread, and what it says of other clues."""

from __future__ import annotations

import math

from scarfdate.conventions import MARKETS
from scarfdate.reading.label_marks import Draft, Span
from scarfdate.tables.label import ORIGIN, LabelRules
from scarfdate.tables.priors import Priors

_JOINED = 4  # characters between unread words that are shown together


def offered_in(rules: LabelRules, draft: Draft) -> tuple[str, ...]:
    """The markets where all marks are at home; where there is none, where any of them is."""
    homes = [rules.homes[mark.mark] for mark in draft.marks if mark.mark in rules.homes]
    homes += draft.homes
    if not homes:
        return MARKETS
    shared = [market for market in MARKETS if all(market in home for home in homes)]
    if not shared:
        draft.flags.append("marks of different markets stand side by side")
        shared = [market for market in MARKETS if any(market in home for home in homes)]
    return tuple(shared)


def unread_words(text: str, spans: list[Span]) -> tuple[str, ...]:
    """What is unread, neighbouring words of a line together."""
    if not spans:
        return ()
    spans.sort()
    joined: list[str] = []
    first, last = spans[0]
    for start, end in spans:
        if start - last < _JOINED and (start <= last or not text[last:start].strip(" .,:'-")):
            if end > last:
                last = end
        else:
            joined.append(text[first:last])
            first, last = start, end
    return (*joined, text[first:last])


def known_words(text: str, draft: Draft) -> tuple[str, ...]:
    """What is known and stands in no mark, of two letters or more; neighbouring words of a line together."""
    if not draft.known:
        return ()
    marks = [(mark.start, mark.end) for mark in draft.marks if mark.end - mark.start < len(text)]
    marks.sort()
    kept: list[Span] = []
    place, reached = 0, -1
    for start, end in sorted(draft.known):
        while place < len(marks) and marks[place][0] <= start:
            place, reached = place + 1, max(reached, marks[place][1])
        if start >= reached and end - start > 1 and any(map(str.isalpha, text[start:end])):
            kept.append((start, end))
    return unread_words(text, kept)


def other_clues(priors: Priors, draft: Draft) -> dict[str, str]:
    """What the label says of origin and fibre; nothing of either where it names several things."""
    clues: dict[str, str] = {}
    countries = {priors.label.clue_word(ORIGIN, each) or each for each in draft.values(ORIGIN)}
    if len(countries) == 1:
        (clues[ORIGIN],) = countries
    fibre = _fibre(priors, draft)
    if fibre:
        clues["fibre"] = fibre
    return clues


def _fibre(priors: Priors, draft: Draft) -> str:
    """The one fibre named, or the one that leads by its share, or what several are called."""
    words = [priors.label.clue_word("fibre", name) for name in draft.values("fibre")]
    shares = dict.fromkeys(words, 0.0)
    for name, share in draft.shares.items():
        word = priors.label.clue_word("fibre", name)
        shares[word] = shares.get(word, 0.0) + share
    shares.pop("", None)
    if not shares:
        return ""
    most = max(shares, key=lambda word: shares[word])
    alone = len(shares) == 1 and "" not in words
    if alone or shares[most] >= priors.medium.leading.get("fibre", math.inf):
        return most
    if sum(share > 0 for share in shares.values()) > 1:
        return priors.medium.several.get("fibre", most)
    return ""
