"""A pen that draws in millimetres of the thing itself and writes SVG in millimetres of the paper.

Everything is black or white. The tree is built as elements, so that no text can become markup; it has no
names (``id``), so that several drawings can stand on one page.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from random import Random
from xml.etree import ElementTree
from xml.etree.ElementTree import Element, SubElement

Point = tuple[float, float]

THIN, FINE, BOLD, HEAVY = 0.15, 0.3, 0.6, 1.2  # widths of a line on paper, mm
INK, PAPER, NONE = "#000", "#fff", "none"
_NAMESPACE = "http://www.w3.org/2000/svg"
_LETTERS = "sans-serif"
_GAP, _LINE, _SMALL, _BAR = 5.0, 4.0, 2.8, 22.0  # mm on paper
_LETTER = 0.5  # how wide a letter is, of its height, at most as a mean over a line
_SEAM = 0.12  # mm on paper
_STROKES = {
    "fill": NONE,
    "stroke-linecap": "round",
    "stroke-linejoin": "round",
}  # unless a stroke says otherwise


def printable(text: str) -> str:
    """As many letters, without those that XML forbids or that turn about what follows."""
    return "".join(one if one.isprintable() else " " if one.isspace() else "?" for one in text)


def as_text(root: Element) -> str:
    """The markup of a tree."""
    return ElementTree.tostring(root, encoding="unicode")


def picture(width: float, height: float, title: str, alt: str) -> Element:
    """An empty picture of that size on paper (mm), white, with its title and its words for who cannot see it."""
    root = Element(
        "svg",
        {
            "xmlns": _NAMESPACE,
            "width": f"{_short(width)}mm",
            "height": f"{_short(height)}mm",
            "viewBox": f"0 0 {_short(width)} {_short(height)}",
            "role": "img",
            "aria-label": printable(f"{title}: {alt}"),
        },
    )
    SubElement(root, "title").text = printable(title)
    SubElement(root, "desc").text = printable(alt)
    SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": PAPER})
    return root


def write(parent: Element, text: str, at: Point, size: float = 3.2, anchor: str = "start") -> None:
    """A line of letters at a place on paper (mm)."""
    given = {"x": _short(at[0]), "y": _short(at[1]), "font-size": _short(size), "fill": INK}
    given |= {"font-family": _LETTERS, "text-anchor": anchor}
    SubElement(parent, "text", given).text = printable(text)


class Pen:
    """Draws on a window of the paper; ``times``: paper millimetres for one of the thing.

    Places are millimetres of the thing from the upper left of the window, which is ``width`` by ``height``
    of them; what runs over it is cut off.
    """

    def __init__(
        self, parent: Element, at: Point, width: float, height: float, times: float
    ) -> None:
        self.width, self.height, self.times = width, height, times
        wide, high = width * times, height * times
        self.root = SubElement(
            parent,
            "svg",
            {
                "x": _short(at[0]),
                "y": _short(at[1]),
                "width": _short(wide),
                "height": _short(high),
                "viewBox": f"0 0 {_short(wide)} {_short(high)}",
                "overflow": "hidden",
                **_STROKES,
            },
        )
        self.chance = Random(f"{width:g} {height:g} {times:g}")  # uneven, and the same every time

    def window(self, x: float, y: float, width: float, height: float) -> Pen:
        """A pen of the same scale for a part of the window."""
        return Pen(self.root, (x * self.times, y * self.times), width, height, self.times)

    def line(
        self,
        points: Iterable[Point],
        width: float = FINE,
        *,
        fill: str = NONE,
        ink: str = INK,
        closed: bool = False,
        dashes: str = "",
        caps: str = "",
        name: str = "",
    ) -> None:
        """Straight from point to point; ``width`` on paper; ``name``: what it is, for who counts in the picture."""
        kind = "polygon" if closed else "polyline"
        given = {"class": name} if name else {}
        given["points"] = " ".join(f"{self._at(x)},{self._at(y)}" for x, y in points)
        if caps:
            given["stroke-linecap"] = caps
        self._add(kind, given, width, fill, ink, dashes)

    def thread(self, points: Sequence[Point], thick: float, *, full: bool = False) -> None:
        """A thread of a thickness (mm of the thing), black where it is ``full``, else white between two lines."""
        broad = thick * self.times
        self.line(points, broad, caps="butt")
        if not full:
            over = [
                _beyond(points[1], points[0], self),
                *points[1:-1],
                _beyond(points[-2], points[-1], self),
            ]
            self.line(over, max(broad - 2 * FINE, broad / 3), ink=PAPER, caps="butt")

    def curve(
        self,
        points: Sequence[Point],
        width: float = FINE,
        *,
        fill: str = NONE,
        ink: str = INK,
        closed: bool = False,
    ) -> None:
        """Smoothly along the points: quadratic arcs that meet half way between them."""
        middles = [((a + c) / 2, (b + d) / 2) for (a, b), (c, d) in itertools.pairwise(points)]
        if closed:
            (a, b), (c, d) = points[-1], points[0]
            middles.append(((a + c) / 2, (b + d) / 2))
            path = self._start(middles[-1]) + self._bends(points, middles) + "Z"
        else:
            bends = self._bends(points[1:-1], middles[1:])
            path = self._start(points[0]) + self._to(middles[0]) + bends + self._to(points[-1])
        self._add("path", {"d": path}, width, fill, ink, "")

    def spot(
        self, x: float, y: float, radius: float, *, fill: str = INK, width: float = 0.0
    ) -> None:
        """A round spot; only its rim where ``fill`` is white and ``width`` is more than nothing."""
        self.oval(x, y, radius, radius, fill=fill, width=width)

    def dots(self, places: Iterable[Point], radius: float) -> None:
        """Black spots of one size as a single stroke: hardly any length, and round ends."""
        path = "".join(f"{self._start(place)}h.01" for place in places)
        self._add("path", {"d": path}, 2 * radius * self.times, NONE, INK, "")

    def oval(
        self,
        x: float,
        y: float,
        across: float,
        down: float,
        *,
        turned: float = 0.0,
        fill: str = NONE,
        width: float = FINE,
    ) -> None:
        """An ellipse by its half axes, turned clockwise by degrees."""
        given = {"cx": self._at(x), "cy": self._at(y), "rx": self._at(across), "ry": self._at(down)}
        if turned:
            given["transform"] = f"rotate({_short(turned)} {self._at(x)} {self._at(y)})"
        self._add("ellipse", given, width, fill, INK, "")

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        line: float = FINE,
        *,
        fill: str = NONE,
        dashes: str = "",
    ) -> None:
        """A rectangle by its upper left corner and its sides."""
        given = {"x": self._at(x), "y": self._at(y)}
        given |= {"width": self._at(width), "height": self._at(height)}
        self._add("rect", given, line, fill, INK, dashes)

    def letters(
        self,
        text: str,
        x: float,
        y: float,
        size: float,
        *,
        turned: float = 0.0,
        face: str = _LETTERS,
        long: float = 0.0,
    ) -> None:
        """Letters of a height (mm of the thing), in the middle at ``x``, standing on ``y``; stretched to be ``long``."""
        given = {"x": self._at(x), "y": self._at(y), "font-size": self._at(size), "fill": INK}
        given |= {"font-family": face, "text-anchor": "middle"}
        if turned:
            given["transform"] = f"rotate({_short(turned)} {self._at(x)} {self._at(y)})"
        if long:
            given |= {"textLength": self._at(long), "lengthAdjust": "spacingAndGlyphs"}
        SubElement(self.root, "text", given).text = printable(text)

    def hatch(self, x: float, y: float, width: float, height: float, every: float) -> None:
        """Slanting lines over a rectangle, ``every`` so many mm of paper: a grey without a second colour."""
        inner = self.window(x, y, width, height)
        starts = steps(0.0, width + height, every / self.times)
        path = "".join(inner._start((at, 0)) + inner._to((at - height, height)) for at in starts)
        inner._add("path", {"d": path}, THIN, NONE, INK, "")

    def _add(
        self, kind: str, given: dict[str, str], width: float, fill: str, ink: str, dashes: str
    ) -> None:
        if fill != NONE:
            given["fill"] = fill
        if width:
            given |= {"stroke": ink, "stroke-width": _short(width)}
        if dashes:
            given["stroke-dasharray"] = dashes
        SubElement(self.root, kind, given)

    def _at(self, length: float) -> str:
        return _short(length * self.times)

    def _start(self, point: Point) -> str:
        return f"M{self._at(point[0])},{self._at(point[1])}"

    def _to(self, point: Point) -> str:
        return f"L{self._at(point[0])},{self._at(point[1])}"

    def _bends(self, points: Sequence[Point], ends: Sequence[Point]) -> str:
        return "".join(
            f"Q{self._at(a)},{self._at(b)} {self._at(c)},{self._at(d)}"
            for (a, b), (c, d) in zip(points, ends, strict=True)
        )


class Sheet:
    """Views side by side at one scale, each with its name, over a bar of a stated length.

    ``lettered``: whether names and length are written into it; ``names`` has those of the views.
    """

    def __init__(self, times: float, hand: float, *, lettered: bool = True) -> None:
        self.root = Element("svg")
        self.times = times
        self.lettered = lettered
        self.names: list[str] = []
        self.hand = hand  # mm, how wide a hand is where one is shown
        self.width = self.height = 0.0  # of the views so far, on paper

    def view(self, width: float, height: float, name: str = "") -> Pen:
        """A pen for a window of that size (mm of the thing) to the right of those that are there."""
        start = self.width + _GAP if self.width else 0.0
        pen = Pen(self.root, (start, 0), width, height, self.times)
        written = name if self.lettered else ""
        self.width = start + max(width * self.times, _LETTER * _SMALL * len(written))
        self.height = max(self.height, height * self.times + (_LINE if written else 0))
        if name:
            self.names.append(name)
        if written:
            write(self.root, name, (start, height * self.times + _LINE - 1), _SMALL)
        return pen

    def done(self) -> tuple[Element, float, float]:
        """The drawing with its bar below, and its size on paper."""
        length = self.bar()
        place = self.height + (_LINE if self.lettered else _LINE / 2)
        broad = length * self.times
        ends = [
            (0, place - 1),
            (0, place + 1),
            (0, place),
            (broad, place),
            (broad, place - 1),
            (broad, place + 1),
        ]
        placed = " ".join(f"{_short(x)},{_short(y)}" for x, y in ends)
        given = {"points": placed, "fill": NONE, "stroke": INK, "stroke-width": _short(FINE)}
        SubElement(self.root, "polyline", given)
        if self.lettered:
            write(self.root, in_words(length), (broad + 2, place + 1), _SMALL)
        high = place + _LINE / 2
        self.root.set("width", _short(self.width))
        self.root.set("height", _short(high))
        self.root.set("overflow", "visible")
        return self.root, self.width, high

    def bar(self) -> float:
        """The longest of 1, 2, 5, 10 and so on (mm of the thing) that is no longer on paper than a bar may be."""
        most = _BAR / self.times
        power = 10.0 ** math.floor(math.log10(most))
        return max(power * step for step in (1, 2, 5) if power * step <= most * (1 + 1e-9))


def _beyond(one: Point, end: Point, pen: Pen) -> Point:
    """A hair's breadth further on than ``end``, so that no seam is left where threads are pieced together."""
    away = math.dist(one, end)
    more = _SEAM / pen.times / away if away else 0.0
    return (end[0] + (end[0] - one[0]) * more, end[1] + (end[1] - one[1]) * more)


def in_words(length: float) -> str:
    """A length (mm) in the unit that people use for one of its size."""
    for unit, size in (("cm", 10.0), ("mm", 1.0)):
        if length >= size * (1 - 1e-9) and (unit == "mm" or length >= 10 * (1 - 1e-9)):
            return f"{length / size:g} {unit}"
    return f"{length:g} mm" if length >= 0.1 else f"{length * 1000:g} micrometres"


def around(x: float, y: float, radius: float, count: int, turned: float = 0.0) -> list[Point]:
    """Points on a circle, the first at ``turned`` degrees."""
    turn = math.radians(turned)
    steps = [turn + math.tau * number / count for number in range(count)]
    return [(x + radius * math.cos(step), y + radius * math.sin(step)) for step in steps]


def steps(start: float, end: float, every: float) -> list[float]:
    """Places from ``start``, ``every`` so much, up to and with ``end``."""
    return [start + number * every for number in range(int((end - start) / every + 1e-9) + 1)]


def _short(number: float) -> str:
    return f"{number:.3f}".rstrip("0").rstrip(".") or "0"
