"""What the records can inform, and what not, in words."""

from __future__ import annotations

from scarfdate.learning.learned import Learned

_INFORMED = 0.1  # of a family's prior variance gone: with less the records hardly inform it
_CLEAR = 2.0  # posterior standard deviations from which a lag is worth a note


def notes_of(learned: Learned) -> tuple[str, ...]:
    """What the records can inform, in words."""
    notes = [] if learned.trust is None else [str(learned.trust)]
    frame = learned.informed()
    if len(learned.draws) > 1:
        much = frame["informed"] >= _INFORMED
        for some, text in (
            (much, "clue tables that they inform"),
            (~much, "clue tables that they hardly inform"),
        ):
            if some.any():
                notes.append(f"{text}: {', '.join(frame.loc[some, 'family'])}")
        clear = frame[frame["later"].abs() > _CLEAR * frame["later_error"]]
        lags = [
            f"{family} {abs(later):.0f} years {'later' if later > 0 else 'earlier'} "
            f"(give or take {max(error, 1):.0f})"
            for family, later, error in clear[["family", "later", "later_error"]].itertuples(
                index=False, name=None
            )
        ]
        if lags:
            notes.append(f"tables that come as a whole at another time: {', '.join(lags)}")
    if any(family.trust < 1 for family in learned._model.priors.families.values()):
        notes.append(
            "the trust of the parent's clues is kept; the tables were learned at full weight"
        )
    notes.append(
        "how often pieces of a year, a grade or a market turn up is not learned: these are the pieces that "
        "were bought" if learned.years is None else
        "how often years, grades and markets turn up is learned, as if all that turned up had been bought"
    )  # fmt: skip
    return tuple(notes)
