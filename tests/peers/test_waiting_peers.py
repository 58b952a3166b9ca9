"""Kaplan and Meier's curve, its bands and the bounds of the median, against lifelines (only for Python 3.11)."""

from __future__ import annotations

import numpy as np
import pytest

from scarfdate.worth.waiting import waiting

pytestmark = pytest.mark.peers


@pytest.mark.parametrize("seed", range(12))
def test_curve_bands_and_median(seed: int) -> None:
    lifelines = pytest.importorskip("lifelines")
    from lifelines.utils import median_survival_times

    rng = np.random.default_rng(seed)
    n = int(rng.integers(15, 200))
    sale, counted = rng.weibull(1.1, n) * 120, rng.uniform(1, 400, n)
    days, sold = np.ceil(np.minimum(sale, counted)), sale <= counted  # whole days: with ties
    ours, theirs = waiting(days, sold), lifelines.KaplanMeierFitter(alpha=0.2).fit(days, sold)
    for day in np.unique(days):
        assert ours.left(day) == pytest.approx(float(theirs.predict(day)), abs=1e-12)
        at = theirs.confidence_interval_.loc[:day].iloc[-1]
        if 0 < ours.left(day) < 1:
            assert ours.left_between(day, 0.8) == pytest.approx(at.tolist(), abs=1e-9)
    assert ours.day() == pytest.approx(theirs.median_survival_time_)
    ends = median_survival_times(theirs.confidence_interval_).iloc[0]
    ours_ends = [ours.day(sure=0.1), ours.day(sure=0.9)]
    last_sold = sold[
        days == days.max()
    ].all()  # theirs closes the upper bound where all are sold at last
    if not (last_sold and ends.iloc[1] == days.max()):
        assert ours_ends == pytest.approx(ends.tolist())
