"""The checks that can still be done, what each promises, and the best of them within a time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from scarfdate.conventions import METHOD

if TYPE_CHECKING:
    import pandas


LITTLE = 0.01  # bits: less is not worth a minute


@dataclass(frozen=True, kw_only=True)
class Look:
    """One check and what it promises.

    ``bits``: expected information on the year. ``narrower``: expected years by which the 80 % interval
    shrinks. ``surer``: expected rise, 0 to 1, of the chance that the most probable decade is the right
    one. ``minutes``, ``harms``, ``caution``: as ``checks.csv`` has them.
    """

    clue: str
    method: str
    bits: float
    narrower: float
    surer: float
    minutes: float
    harms: bool
    caution: str

    @property
    def bits_per_minute(self) -> float:
        """What a minute of it promises."""
        return self.bits / self.minutes


def _named(look: Look) -> str:
    """The clue, and the method unless it is eyes and fingers."""
    return look.clue if look.method == METHOD else f"{look.clue} by {look.method}"


@dataclass(frozen=True, kw_only=True)
class NextLooks:
    """All checks, the best by bits a minute first; ``plan``: the best set within the minutes given.

    ``held_back``: harmful or dangerous checks that were asked for and are not offered, with the reason.
    ``plan_bits`` is what the plan promises altogether, a mean over draws with ``plan_error`` as its
    standard error; without minutes there is no plan.
    """

    looks: tuple[Look, ...]
    plan: tuple[Look, ...]
    plan_bits: float
    plan_error: float
    held_back: tuple[tuple[Look, str], ...] = ()

    def to_frame(self) -> pandas.DataFrame:
        """One row a check."""
        import pandas as pd

        names = ["clue", "method", "bits", "narrower", "surer", "minutes", "harms", "caution"]
        frame = pd.DataFrame([vars(look) for look in self.looks], columns=names)
        frame.insert(6, "bits_per_minute", [look.bits_per_minute for look in self.looks])
        return frame

    def __str__(self) -> str:
        if not self.looks:
            return "There is nothing left to look at."
        lines = []
        for look in self.looks[:5]:
            lines.append(
                f"{_named(look)}: {look.bits:.2f} bits in {look.minutes:g} min, "
                f"{look.narrower:.0f} years narrower" + (" (harms the piece)" if look.harms else "")
            )
            if look.caution and (look.harms or look.bits > LITTLE):
                lines.append(f"  take care: {look.caution}")
        lines += [f"Not {_named(look)}: {why}." for look, why in self.held_back]
        if self.plan:
            names = ", ".join(_named(look) for look in self.plan)
            lines.append(f"Within the time: {names}: about {self.plan_bits:.2f} bits.")
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        from scarfdate.show import page

        return page.view(str(self))
