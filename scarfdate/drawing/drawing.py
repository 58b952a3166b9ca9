"""`Drawing`: a picture with its words, shown in notebooks and saved as a file."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from pathlib import Path

from scarfdate.errors import ScarfdateError, shown
from scarfdate.files import as_path, check_new, write_whole
from scarfdate.show import page

_SUFFIX = ".svg"


@dataclass(frozen=True, repr=False, kw_only=True)
class Drawing:
    """A picture as SVG, black on white, made of strokes by code.

    ``alt``: what it shows, for who cannot see it; it lies in the picture, too. ``caption``: what is to stand
    beside it: the same with its scale, a line a drawing; what is not drawn and why; that touch is not learned from pictures.
    """

    svg: str
    alt: str
    caption: str

    def __repr__(self) -> str:
        return f"Drawing({self.alt!r})"

    def _repr_svg_(self) -> str:
        return self.svg.replace("<svg ", f'<svg class="{page.NO_MATHEMATICS}" ', 1)

    def _repr_html_(self) -> str:
        said = f'<figcaption style="max-width:44em;font-size:small;white-space:pre-line">{escape(self.caption)}</figcaption>'
        return f'<figure class="{page.NO_MATHEMATICS}" style="margin:.5em 0;overflow-x:auto">{self.svg}{said}</figure>'

    def save(self, path: str | Path, *, force: bool = False) -> Path:
        """Write the picture to a new file ending in ``.svg``, whole or not at all; ``force``: over an old one.

        Raises ScarfdateError where it cannot be written, and where a file is there already without ``force``.
        """
        place = as_path(path, "save")
        if place.suffix.lower() != _SUFFIX:
            raise ScarfdateError(
                f"{shown(str(path))}: a drawing is saved as a file ending in {_SUFFIX}"
            )
        check_new(place, force)
        head = '<?xml version="1.0" encoding="UTF-8"?>\n'
        try:
            write_whole(place, f"{head}{self.svg}\n".encode(), new=not force)
        except OSError as error:
            raise ScarfdateError(
                f"{shown(str(path))} cannot be written ({error.strerror})"
            ) from None
        return place
