"""What a card says in sentences: what it was made for, how to add up, what it costs, when not to trust it."""

from __future__ import annotations

from collections.abc import Iterator

from scarfdate.card.cost import FEW, STOP_AFTER, STOP_AHEAD, Cost
from scarfdate.card.sheet import Sheet
from scarfdate.show.sentence import percent

_EXAMPLES = 2  # other channels named
_AS_GOOD = 1.5  # times the loss at home: a channel where the card does as well


def short_era(era: str) -> str:
    """A heading narrow enough for two digits: "<40", "40-59", "00+"."""
    year = next(word for word in era.replace("-", " ").split() if word[:4].isdigit())[2:4]
    if era.startswith("before"):
        return f"<{year}"
    if era.startswith("from"):
        return f"{year}+"
    return f"{year}-{era[-2:]}" if "-" in era else f"{year}s"


def made_for(card: Sheet) -> str:
    """The channel and the tables."""
    return f"For {card.channel}, as of {card.as_of}, tables {card.priors_hash[:12]}."


def how_to_add(card: Sheet) -> str:
    """How the points are added up."""
    return (
        "Begin with EVERY SCARF. Add the row of each thing that you can see, from the top; not sure, not there, or "
        f"between two rows: nought. Stop when {STOP_AHEAD} ahead, once {STOP_AFTER} rows are added. The highest "
        "sum is the era; of equal sums the later."
    )


def how_to_halve() -> str:
    """How the second step goes."""
    return "Second step, in the era alone: add what it lists. Above 0: its later half."


def worth(cost: Cost) -> list[str]:
    """What the card costs, in a few plain sentences."""
    whole = cost.overall
    share = {name: percent(value) for name, value in whole.items() if value <= 1}
    return [
        "It names an era, not years: coarser than the exact dating.",
        f"Same era as that on {share['agree']} of pieces, same or next on {share['near']}; "
        f"stopping early: {share['stopped']} and {share['stopped_near']}.",
        f"Same half of the same era: {share['half']}.",
        f"True era, were the tables right: card {share['true']}, exact {share['exact_true']}.",
        f"Numbers to add: {whole['added']:.0f} a piece, stopping early {whole['stopped_added']:.0f}. "
        f"Measured on {cost.pieces} other simulated pieces.",
    ]


def distrust(card: Sheet) -> list[str]:
    """When not to trust it, measured."""
    cost, facts = card.cost, []
    if cost.trust_from is None:
        facts.append("However far ahead, it agrees on less than 80 %: name two eras.")
    elif cost.trust_from > 0:
        below = sum(s["pieces"] for low, s in cost.by("ahead").items() if low < cost.trust_from)
        facts.append(f"Ahead by fewer than {cost.trust_from} ({percent(below)}): name two eras.")
    clues = cost.by("clues")
    if len(clues) > 1 and 0 in clues:
        facts.append(f"{FEW} clues or fewer: it agrees on {percent(clues[0]['agree'])}.")
    for later in cost.by("later").values():
        facts.append(f"Later pieces in an older look: true on {percent(later['true'])}.")
    facts.append(
        "Not on it: words and numbers of a label, makers, dated prints"
        + "".join(f", {title}" for title in card.missing)
        + ". Where there is one, date the piece exactly."
    )
    return facts


def elsewhere(card: Sheet) -> Iterator[str]:
    """How the card does in other channels, where there are others."""
    lost = card.cost.elsewhere["loss"].sort_values()
    worse = [str(name) for name in lost.index[lost > _AS_GOOD * card.cost.loss]][::-1]
    if worse:
        agree = card.cost.elsewhere["agree"]
        named = ", ".join(f"{name} {percent(float(agree[name]))}" for name in worse[:_EXAMPLES])
        yield f"Elsewhere it agrees less: {named}."
