"""Turnbull's estimate against published masses.

Data: breast cosmesis, D. M. Finkelstein and R. A. Wolfe 1985, Biometrics 41, 933-945 (94 patients,
months to deterioration, intervals (left, right]). Published masses: M. P. Fay and P. A. Shaw 2010,
Journal of Statistical Software 36(2), the vignette version, pages 11-12. The six-digit masses and the
log-likelihoods were computed by a separate EM when the example was written down.
"""

from __future__ import annotations

import numpy as np
import pytest

from notebooks.turnbull import Npmle, npmle

RADIOTHERAPY = """
(0,5] (0,7] (0,8] (4,11] (5,11] (5,12] (6,10] (7,14] (7,16] (11,15] (11,18] (17,25] (17,25] (19,26]
(19,35] (25,37] (26,40] (27,34] (36,44] (36,48] (37,44] R15 R17 R18 R22 R24 R24 R32 R33 R34 R36 R36
R37 R37 R37 R38 R40 R45 R46 R46 R46 R46 R46 R46 R46 R46
"""
WITH_CHEMOTHERAPY = """
(0,5] (0,22] (4,8] (4,9] (5,8] (8,12] (8,21] (10,17] (10,35] (11,13] (11,17] (11,20] (12,20] (13,39]
(14,17] (14,19] (15,22] (16,20] (16,24] (16,24] (16,60] (17,23] (17,26] (17,27] (18,24] (18,25]
(19,32] (22,32] (24,30] (24,31] (30,34] (30,36] (33,40] (35,39] (44,48] R11 R11 R13 R13 R13 R21 R23
R31 R32 R34 R34 R35 R48
"""
# left, right, published to four digits (None: pooled arms were not published), computed to six
Row = tuple[int, int, float | None, float]
FIRST: list[Row] = [
    (4, 5, 0.0463, 0.046347), (6, 7, 0.0334, 0.033363), (7, 8, 0.0887, 0.088667),
    (11, 12, 0.0708, 0.070753), (24, 25, 0.0926, 0.092646), (33, 34, 0.0818, 0.081786),
    (38, 40, 0.1209, 0.120880), (46, 48, 0.4656, 0.465558),
]  # fmt: skip
SECOND: list[Row] = [
    (4, 5, 0.0433, 0.043283), (5, 8, 0.0433, 0.043283), (11, 12, 0.0692, 0.069206),
    (16, 17, 0.1454, 0.145398), (18, 19, 0.1411, 0.141095), (19, 20, 0.1157, 0.115746),
    (24, 25, 0.0999, 0.099865), (30, 31, 0.0709, 0.070881), (35, 36, 0.1608, 0.160831),
    (44, 48, 0.0552, 0.055206), (48, 60, 0.0552, 0.055206),
]  # fmt: skip
POOLED: list[Row] = [
    (4, 5, None, 0.044949), (6, 7, None, 0.022593), (7, 8, None, 0.056038),
    (11, 12, None, 0.079046), (16, 17, None, 0.060546), (18, 19, None, 0.021557),
    (19, 20, None, 0.144072), (24, 25, None, 0.049719), (30, 31, None, 0.091126),
    (38, 39, None, 0.126447), (46, 48, None, 0.186858), (48, 60, None, 0.117049),
]  # fmt: skip


def read(text: str) -> tuple[list[float], list[float]]:
    left, right = [], []
    for word in text.split():
        if word.startswith("R"):
            left.append(float(word[1:]))
            right.append(np.inf)
        else:
            low, high = word[1:-1].split(",")
            left.append(float(low))
            right.append(float(high))
    return left, right


def estimate(*texts: str) -> Npmle:
    pairs = [read(text) for text in texts]
    return npmle([x for left, _ in pairs for x in left], [x for _, right in pairs for x in right])


@pytest.mark.parametrize(
    ("texts", "patients", "expected", "log_likelihood"),
    [
        ((RADIOTHERAPY,), 46, FIRST, -58.060021954),
        ((WITH_CHEMOTHERAPY,), 48, SECOND, -65.636964908),
        ((RADIOTHERAPY, WITH_CHEMOTHERAPY), 94, POOLED, -136.963803874),
    ],
    ids=["radiotherapy", "with chemotherapy", "both"],
)
def test_breast_cosmesis(
    texts: tuple[str, ...], patients: int, expected: list[Row], log_likelihood: float
) -> None:
    assert sum(len(text.split()) for text in texts) == patients
    result = estimate(*texts)
    held = result.mass > 1e-7
    assert list(zip(result.left[held], result.right[held], strict=True)) == [
        row[:2] for row in expected
    ]
    for mass, (_, _, published, computed) in zip(result.mass[held], expected, strict=True):
        assert mass == pytest.approx(computed, abs=6e-7)
        if published is not None:
            assert mass == pytest.approx(published, abs=5.1e-5)
    assert result.log_likelihood == pytest.approx(log_likelihood, abs=1e-8)
    assert result.gap < 1e-7
    assert result.unique
