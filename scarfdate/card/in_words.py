"""What a card says in sentences: what it was made for, how to add up, what it costs, when not to trust it."""

from __future__ import annotations

from collections.abc import Iterator

from scarfdate.card.cost import FEW, Cost
from scarfdate.card.sheet import Sheet
from scarfdate.show.sentence import percent

_EXAMPLES = 3  # other channels named at each end
_AS_GOOD = 1.5  # times the loss at home: a channel where the card does as well


def short_decade(decade: str) -> str:
    """A heading narrow enough for one digit: "<40", "40s", "10+"."""
    year = next(word for word in decade.replace("-", " ").split() if word[:4].isdigit())[2:4]
    if decade.startswith("before"):
        return f"<{year}"
    return f"{year}+" if decade.startswith("from") or "-" in decade else f"{year}s"


def made_for(card: Sheet) -> str:
    """The channel, the columns that are no single decade, and the tables."""
    open_ended = [
        f"{short_decade(decade)} is {decade}"
        for decade in card.decades
        if not short_decade(decade).endswith("s")
    ]
    return (
        f"For {card.channel}: {card.where}. {'; '.join(open_ended)}. As of {card.as_of}, tables "
        f"{card.priors_hash[:12]}."
    )


def how_to_add(card: Sheet) -> str:
    """How the points are added up."""
    return (
        "Begin with the first row. For everything that you can see add its row, decade by decade; the "
        f"highest sum is the decade. {_number(card.doubling, 'point')} ahead is twice as likely. Between "
        "two rows, or not seen: add nothing. Equal sums: the later."
    )


def worth(cost: Cost) -> list[str]:
    """What the card costs, in a few plain sentences."""
    share = {name: percent(value) for name, value in cost.overall.items() if name != "loss"}
    return [
        f"It names the same decade as the exact dating on {share['agree']} of pieces, that or the "
        f"next on {share['near']}; its two best hold it on {share['two']}.",
        f"The true decade, were the tables right: card {share['true']}, exact {share['exact_true']}; "
        f"in the two best {share['two_true']}.",
        f"It loses {cost.loss:.2f} bits a piece; knowing only where it turned up loses "
        f"{cost.prior_loss:.2f}. Measured on {cost.pieces} other simulated pieces.",
    ]


def distrust(card: Sheet) -> list[str]:
    """When not to trust it, measured."""
    cost, facts = card.cost, []
    if cost.trust_from is None:
        facts.append("However far it is ahead it agrees less than 80 %: name the two best decades.")
    elif cost.trust_from > 0:
        below = sum(s["pieces"] for low, s in cost.by("ahead").items() if low < cost.trust_from)
        facts.append(
            f"Ahead by fewer than {_number(cost.trust_from, 'point')} ({percent(below)} of pieces): name "
            "the two best decades. From there on it agrees on 80 % or more."
        )
    clues = cost.by("clues")
    if len(clues) > 1 and 0 in clues:
        facts.append(
            f"With {FEW} clues or fewer: it agrees on {percent(clues[0]['agree'])}, true on "
            f"{percent(clues[0]['true'])}."
        )
    for later in cost.by("later").values():
        facts.append(
            f"A later piece in an older look ({percent(later['pieces'])} of pieces): true on "
            f"{percent(later['true'])}."
        )
    facts.append(
        "Not on it: words and numbers of a label, makers, dated prints"
        + "".join(f", {title}" for title in card.missing)
        + ". Where one is found, date the piece exactly."
    )
    return facts


def elsewhere(card: Sheet) -> Iterator[str]:
    """How the card does in other channels, where there are others."""
    lost = card.cost.elsewhere["loss"].sort_values()
    near = [str(name) for name in lost.index[lost <= _AS_GOOD * card.cost.loss]]
    worse = [f"{name} {bits:.2f}" for name, bits in lost.items() if name not in near]
    if worse:
        good = f" About as well: {', '.join(near[:_EXAMPLES])}." if near else ""
        named = ", ".join(worse[:2] + worse[2:][-2:])
        yield f"In other channels it loses more bits: {named}.{good}"


def _number(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
