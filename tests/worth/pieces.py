"""Pieces to describe: drawn from the tables, with conditions as dealers write them; and odd ones by hand."""

from __future__ import annotations

import numpy as np

from scarfdate import Dating, Scarf, date_scarf, load_priors, simulate

AS_OF = 2026
CONDITIONS = (
    None, "perfect", "2 small pulls near edge, faint stain corner", "hole 3 mm centre", "good",
    "smells of mothballs", "run 40 mm spreading, hole", "colour bleed, crease, loose hem", "moth, tear at edge",
)  # fmt: skip
TWO_HILLS = {
    "fibre": "polyester", "form": "oblong", "hem": "fringed", "label_make": "printed-cloth",
    "layout": "colour-blocks", "momme": 13.7, "motif": "leaves", "origin": "india", "palette": "pastel",
    "print_technique": "machine-screen", "size": "182 x 23 cm", "uv_glow": "bright", "weave": "gauze",
}  # fmt: skip
OLD = {"fibre": "silk", "known_to": 1885}
IN_DOUBT = {
    "fibre": "polyester",
    "known_from": 1910,
    "known_to": 1915,
}  # there was none before 1941
REISSUED = {
    "fibre": "silk",
    "printed_year": 1952,
    "label_text": "100% SILK\nRN 120000\nDRY CLEAN ONLY",
}
LATER = {
    "fibre": "silk",
    "print_technique": "digital",
    "motif": "psychedelic",
    "palette": "acid-neon",
}
ODD = (
    {}, TWO_HILLS, OLD, IN_DOUBT, REISSUED, LATER, {"fibre": "silk?"}, {"size": "34 in"}, {"hem": "rolled"},
)  # fmt: skip


def drawn(
    n: int, channel: str = "thrift", seed: int = 15
) -> list[tuple[Scarf, Dating, str | None]]:
    """Pieces with their datings, and a condition each in turn; the same for the same seed."""
    made = simulate(None, n, np.random.default_rng(seed), channel=channel, as_of=AS_OF).frame()
    found = []
    for place, row in enumerate(made.to_dict("records")):
        cells = {
            name: cell for name, cell in row.items() if cell == cell and cell not in (None, "")
        }
        scarf = Scarf.from_dict(cells, priors=load_priors())
        dating = date_scarf(scarf, channel=channel, as_of=AS_OF)
        found.append((scarf, dating, CONDITIONS[place % len(CONDITIONS)]))
    return found


def odd() -> list[tuple[Scarf, Dating, str | None]]:
    """The pieces by hand, each with every other condition."""
    some = [Scarf(**seen) for seen in ODD]
    return [
        (scarf, date_scarf(scarf, as_of=AS_OF), CONDITIONS[place])
        for place, scarf in enumerate(some)
    ]
