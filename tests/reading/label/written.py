"""Labels written out in full: text, market, year, marks. Invented, as all that `compose` makes.

The years lie within the bounds of ``label_rules.csv`` and ``label_numbers.csv``, and were chosen by the wording.
"""

from __future__ import annotations

Pair = tuple[str, str]

WRITTEN: tuple[tuple[str, str, int, tuple[Pair, ...]], ...] = (
    ("BRIT. PAT. 512345\nMADE IN ENGLAND", "europe", 1942, (("british-patent", "512345"), ("origin", "england"))),
    ("PAT. NO. 633900\nMade in Great Britain", "europe", 1953,
     (("british-patent", "633900"), ("origin", "great-britain"))),
    ("BREVET NO\nSOIE", "europe", 1950, (("patent-abroad", ""), ("fibre", "silk"))),
)  # fmt: skip
