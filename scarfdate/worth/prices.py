"""`Prices`: what was learned of prices, days to sell and returns from a dealer's own book."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.errors import RangeError, did_you_mean, is_one_of, shown
from scarfdate.files import as_path
from scarfdate.show import page
from scarfdate.worth.coefficients import Coefficients
from scarfdate.worth.pieces import Pieces
from scarfdate.worth.price_files import read_parts, save_prices
from scarfdate.worth.price_parts import PriceParts
from scarfdate.worth.price_samples import PriceSamples
from scarfdate.worth.price_words import effects_frame, in_words
from scarfdate.worth.reference import Reference, season_of
from scarfdate.worth.sampling import sampler

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True, eq=False, kw_only=True)
class Prices(PriceParts):
    """Prices learned from a book, by `learn_prices`, or taken as known (`stated`).

    ``price``: coefficients of the log price; ``days``: of the log of days to sell, None where the book does not say;
    ``returns``: of the log odds of a return, None where it does not say; ``reference``: what they are compared
    with; ``counts``: how many sales each coefficient of ``price`` has, none where they were not learned;
    ``invented``: whether the book was invented, and the prices must be replaced by one's own; ``notes``.
    """

    def in_currency(self, currency: str) -> Prices:
        """These prices, where they are in this currency or either is unsaid: a label is never converted.

        Raises RangeError where they are in another.
        """
        if currency and self.currency and currency != self.currency:
            raise RangeError(
                f"currency: these prices are in {self.currency}, got {shown(currency)}; nothing is converted: learn "
                "prices from a book in that currency"
            )
        return self

    @classmethod
    def stated(
        cls,
        effects: Mapping[tuple[str, str], float],
        *,
        sigma: float,
        nu: float = np.inf,
        days: Mapping[tuple[str, str], float] | None = None,
        days_shape: float = 1.0,
        returns: Mapping[tuple[str, str], float] | None = None,
        reference: Reference | None = None,
        invented: bool = False,
    ) -> Prices:
        """Prices that are taken as known: for simulations and tests.

        ``effects``: by group and level ("fibre", "silk") what is added to the log price, ("base", "") the log price
        itself, ("condition", "") and ("size", "") elasticities; ``sigma``, ``nu``: scale and degrees of freedom
        of the residual; ``days``: the same for log days, ("asked", "") the slope on log asked less log fair;
        ``returns``: for the log odds of a return.
        """
        return cls(
            price=Coefficients.stated(effects, {"sigma": sigma, "nu": nu}),
            days=None if days is None else Coefficients.stated(days, {"shape": days_shape}),
            returns=None if returns is None else Coefficients.stated(returns, {}),
            reference=reference or Reference(),
            invented=invented,
        )

    def samples(
        self,
        pieces: Pieces,
        *,
        channel: str | None = None,
        season: str | int | None = None,
        when: date | int | None = None,
        n: int = 2000,
        seed: int = 0,
        alone: bool = False,
    ) -> PriceSamples:
        """Samples of the pieces' prices, days to sell and returns, ``n`` each; the same call gives the same ones.

        ``channel``: where they are to be sold; None: as often in each as the book's sales were. ``season``:
        "winter" or a month (1 to 12); None: that of ``when``, or as often in each as
        the book's. ``when``: the day or the year of the sale, for the level of prices of the year; None: the
        last year of the book. ``alone``: each piece as if it were the only one, so that two of which the same was
        noted have the same samples; without it they are two pieces that differ in what nobody noted.

        Raises RangeError for a channel in which nothing was sold, WordError for a season that is none.
        """
        learned = list(self.reference.channels)
        if channel is not None and not is_one_of(channel, learned):
            hint = did_you_mean(channel, learned) if learned else "the book names none"
            raise RangeError(f"channel: nothing was sold through {shown(channel)}; {hint}")
        if isinstance(when, date) and season is None:
            season = when.month
        draws = sampler(
            self.price,
            self.days,
            self.returns,
            self.reference,
            n=n,
            seed=seed,
            channel=channel,
            season=None if season is None else season_of(season),
            year=when.year if isinstance(when, date) else when,
        )
        return draws.of(pieces, invented=self.invented, alone=alone)

    def effects(self) -> pandas.DataFrame:
        """The effects on the log price: group, level, mean, sd, low, high (an 80 % interval), sold.

        Of a group of levels they are against the average of what was sold, so that 0.1 is some 10 % more than that; of
        size and condition they are elasticities. ``sold``: how many sales have the level, where one of which it
        is half sure counts half.
        """
        return effects_frame(self)

    def container(self) -> Any:
        """The draws of the effects on prices as ArviZ's container: InferenceData of ArviZ 0.x, a DataTree of 1.x.

        Those of the quick route are one chain. With the sales at hand (prices just learned, not loaded) it has their
        log likelihood, predictions and observed log prices, too.
        """
        from scarfdate.worth.price_container import container_of

        return self._container or container_of(self.price, self._model)

    def one_draw(self, place: int) -> Prices:
        """The same with one of the draws, as if it were known: for simulations."""
        if (
            isinstance(place, bool)
            or not isinstance(place, (int, np.integer))
            or abs(int(place)) > 10**9
        ):
            raise RangeError(f"place: the number of a draw is allowed, got {shown(place)}")
        at = np.array([place], np.intp)
        parts = {
            name: None if of is None else of.take(at % len(of.draws))
            for name, of in (("price", self.price), ("days", self.days), ("returns", self.returns))
        }
        return replace(self, **parts, _container=None, _model=None)  # type: ignore[arg-type]

    def save(self, folder: str | Path) -> Prices:
        """Write a new folder, whole or not at all, and read it back. ScarfdateError where it is there already."""
        save_prices(self, folder)
        return load_prices(folder)

    def _repr_html_(self) -> str:
        return page.view(str(self))

    def __str__(self) -> str:
        return in_words(self)


def load_prices(folder: str | Path | None = None) -> Prices:
    """Prices from a folder that `Prices.save` has written; without one, those of an invented book.

    The latter say that they are invented: replace them by what `learn_prices` learns from your own book. Raises
    ScarfdateError for a folder that cannot be read as prices.
    """
    return _shipped() if folder is None else Prices(**read_parts(as_path(folder, "prices")))


@cache
def _shipped() -> Prices:
    package = Path(__file__).resolve().parent.parent
    inside = package / "data"  # in the wheel; else beside the package
    data = inside if inside.is_dir() else package.parent / "data"
    return Prices(**read_parts(data / "prices"))
