"""Which strokes draw which word: every drawing by family and value."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from scarfdate.strokes.cloth import WEAVES
from scarfdate.strokes.hems import HEMS
from scarfdate.strokes.labels import LABELS
from scarfdate.strokes.motifs import MOTIF_DRAWINGS
from scarfdate.strokes.pen import Sheet
from scarfdate.strokes.pieces import PIECES
from scarfdate.strokes.prints import PRINTS
from scarfdate.strokes.shown import Shown
from scarfdate.strokes.strands import STRANDS

Sketch = Callable[[Sheet, Shown], None]
SKETCHES: Mapping[tuple[str, str], Sketch] = {
    **HEMS, **WEAVES, **STRANDS, **PRINTS, **MOTIF_DRAWINGS, **PIECES, **LABELS,
}  # fmt: skip
TOUCH = "Touch is not learned from pictures."
