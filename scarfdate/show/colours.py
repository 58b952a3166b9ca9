"""The colours of plots, apart from each other for red-green blind readers and in grey, and from white.

No two are nearer than 20 units of CIELAB to each other, seen with either red-green blindness, or than 12 in
lightness alone; each stands out from white by 3 to 1 (WCAG 2.2, 1.4.11). ``tests/test_colours.py`` measures it on
every plot.
"""

from __future__ import annotations

DARK = "#2f1f45"  # the answer itself
TEAL = "#0c5f5a"  # what it is held against, or what speaks for it
VIOLET = "#86669f"  # the years, or what chance allows
OCHRE = "#c8842f"  # what speaks against it, or is made wrong
COLOURS = (DARK, TEAL, VIOLET, OCHRE)
