"""Which fibre a percentage of a label is of: "60 % silk" or "silk 60 %"."""

from __future__ import annotations

from itertools import pairwise

from scarfdate.reading.label_marks import Content, Draft, Printed, Span
from scarfdate.tables.label import LabelRules

_WHOLE, _SLACK = 100.0, 1.0  # per cent


def read_content(rules: LabelRules, printed: Printed, draft: Draft) -> None:
    """Add what fibres and percentages tell together."""
    if not all(one.fibre for one in draft.content):
        _read_percentages(rules, printed, draft)
    named = {(one.fibre, one.language) for one in draft.content if one.fibre}
    french = [fibre for fibre, language in named if language == "fr"]
    if any((fibre, other) in named for fibre in french for other in ("en", "any")):
        draft.add("bilingual", "", 0, len(printed.text))
    if draft.shares and any(language == "ja" for _, language in named):
        draft.add("japanese-content", "", 0, len(printed.text))


def _read_percentages(rules: LabelRules, printed: Printed, draft: Draft) -> None:
    """Each percentage to its fibre: "60 % silk" or "silk 60 %", as the first and the last tell."""
    content = draft.content
    fibre_first = bool(content[0].fibre) and not content[-1].fibre
    # each fibre has its percentage, whatever stands on which line
    in_turn = fibre_first and all(bool(a.fibre) != bool(b.fibre) for a, b in pairwise(content))
    following: list[Content | None] = [None]  # the fibre named next after each, from the last
    for one in content[:0:-1]:
        following.append(one if one.fibre else following[-1])
    before: Content | None = None
    place: Span | None = None
    wool: Span | None = None
    for one in content:
        after = following.pop()
        if one.fibre:
            before = one
            continue
        if in_turn and before is not None:
            fibre: str | None = before.fibre
        else:
            fibre = _fibre_of(printed, one, before, after, fibre_first=fibre_first)
        if fibre is None:
            draft.unread.append((one.start, one.end))
            draft.flags.append("a percentage without a fibre was read")
            continue
        # the same share twice is one fibre named in two languages
        draft.shares[fibre] = max(one.per_cent, draft.shares.get(fibre, 0.0))
        place = place or (one.start, one.end)
        if rules.clue_word("fibre", fibre) == "wool":
            wool = wool or (one.start, one.end)
    # wool has an act of its own, older than that on all other textiles
    if wool is not None:
        draft.add("wool-percent", "", *wool)
    elif place is not None:
        draft.add("fibre-percent", "", *place)


def adds_up(draft: Draft) -> bool:
    """Whether the percentages are those of a whole."""
    return abs(sum(draft.shares.values()) - _WHOLE) <= _SLACK


def check_shares(draft: Draft) -> None:
    """Flag percentages that do not add up; those of parts, as shell and fringe, do by themselves."""
    if draft.parts:
        return
    total = sum(draft.shares.values())
    if not adds_up(draft):
        draft.flags.append(f"the percentages add up to {total:g}, not to 100")


def _fibre_of(
    printed: Printed, share: Content, before: Content | None, after: Content | None, *,
    fibre_first: bool,
) -> str | None:  # fmt: skip
    """The fibre of one percentage: the one on its line, else that on the side where fibres stand."""
    near_before = before is not None and printed.same_line(before.end, share.start)
    near_after = after is not None and printed.same_line(share.end, after.start)
    if near_before != near_after:
        fibre = before if near_before else after
    else:
        fibre = before if fibre_first else after or before
    return None if fibre is None else fibre.fibre
