"""What moves prices in the invented dealer's town: the scenario behind ``data/book.csv`` and ``data/box.csv``.

Everything here is invented for a test to find again, and says nothing of scarves. Effects are of the natural
logarithm of a price in euros: 0.10 is some 10 % more. A piece's ``log_fair`` is the sum of its effects by what is
*true* of it (true fibre, hem, form, decade, grade), at the size that it has:

    log_fair = BASE + SIZE * log(width * height / AREA) + kept + FIBRE + HEM + FORM + MAKER + CHANNEL + SEASON
               + DECADE + GRADE + YEAR

``kept`` is the sum of the losses of its faults (`FAULTS`, by her own words for them): in her
town they cost rather more than the tables say. What a buyer gives in the
end is log_fair + SPREAD * t with TAILS degrees of freedom; she asks a little more than that (`ASKED_MORE`, the mean
of an exponential in logs), and nobody gives more than she asks. Days to sell are Weibull: shape `DAYS_SHAPE`, scale DAYS times a factor of the channel
times exp(DAYS_SLOPE * (log of the price asked - log_fair)).
"""

from __future__ import annotations

import math

BASE, SIZE, AREA = math.log(17.0), 0.45, 75.0 * 75.0
FIBRE = {
    "silk": 0.35, "wool": 0.10, "cotton": -0.15, "linen": 0.0, "rayon": -0.10, "acetate": -0.25,
    "nylon": -0.25, "polyester": -0.35, "acrylic": -0.40, "metal-thread": 0.05, "blend": -0.10, "other": 0.0,
}  # fmt: skip
HEM = {
    "hand-rolled": 0.25, "machine-rolled": 0.05, "machine-stitched": -0.05, "overlocked": -0.20,
    "hemstitched": 0.05, "lace-edged": 0.0, "fringed": 0.0, "selvedge": -0.05, "raw": -0.15, "other": 0.0,
}  # fmt: skip
FORM = {
    "square": 0.10, "oblong": 0.0, "shawl": 0.15, "handkerchief": -0.25, "bandanna": -0.15,
    "pocket-square": -0.10, "triangle": -0.10, "other": 0.0,
}  # fmt: skip
MAKER = {
    "Quorvelle": 0.45, "Perriquelle": 0.60, "Gallophane": 0.30, "Osselwick": 0.05, "Nimblefrost": -0.10,
    "Arventhra": 0.25, "Tarnibeck": 0.10, "Lumbertine": 0.50, "Ibberlace": 0.30,
}  # fmt: skip
CHANNEL = {"stall": -0.05, "shop": 0.05, "fair": 0.20, "by post": 0.10}
SEASON = {"winter": 0.06, "spring": -0.02, "summer": -0.12, "autumn": 0.08}
DECADE = {
    1920: 0.45, 1930: 0.40, 1940: 0.30, 1950: 0.30, 1960: 0.20, 1970: 0.05, 1980: -0.10, 1990: -0.25,
    2000: -0.35, 2010: -0.45, 2020: -0.50,
}  # fmt: skip  # by the decade in which it was made; older pieces as those of the 1920s
GRADE = {"everyday": -0.15, "better": 0.10, "fine": 0.45}
YEAR = {2021: -0.06, 2022: -0.03, 2023: 0.0, 2024: 0.03, 2025: 0.05, 2026: 0.07}
SPREAD, TAILS, ASKED_MORE = 0.25, 6.0, 0.12
DAYS, DAYS_SHAPE, DAYS_SLOPE = 280.0, 1.0, 2.0
DAYS_CHANNEL = {"stall": 1.1, "shop": 1.25, "fair": 0.9, "by post": 0.6}
RETURNED = {"stall": 0.01, "shop": 0.03, "fair": 0.01, "by post": 0.09}
CHANNELS = {"stall": 0.40, "shop": 0.25, "fair": 0.15, "by post": 0.20}  # how often each
# her words for faults: what is left of the price in logs, and how often she meets it
FAULTS = {
    "small pull near edge": (-0.03, 14), "2 small pulls near edge": (-0.05, 8), "pull centre": (-0.15, 5),
    "faint stain corner": (-0.12, 14), "stain 20 mm centre": (-0.45, 8), "two stains edge": (-0.25, 4),
    "small hole edge": (-0.22, 7), "hole centre": (-0.60, 5), "3 moth holes": (-0.80, 4),
    "faded": (-0.35, 9), "loose hem": (-0.10, 9), "tear 30 mm edge": (-0.45, 3), "run": (-0.40, 2),
    "colour bleed": (-0.45, 3), "smells of mothballs": (-0.15, 5), "mended tear edge": (-0.25, 3),
    "creases": (-0.03, 10), "small stain on signature": (-0.40, 1),
}  # fmt: skip
LOOKED_AT, FAULTLESS, SECOND = (
    0.88,
    0.52,
    0.22,
)  # looked at; of these nothing wrong; of these others a second fault
NOTHING = "no faults"  # how she writes that nothing is wrong


def season(month: int) -> str:
    """The season of a month, as people north of the equator have them."""
    return ("winter", "spring", "summer", "autumn")[month % 12 // 3]
