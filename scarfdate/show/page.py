"""HTML for notebooks: the only place that escapes what a person wrote."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape


def bars(rows: Sequence[tuple[str, float]]) -> str:
    """A small table of bars, a row a label and a chance."""
    longest = max((chance for _, chance in rows), default=1.0) or 1.0
    cells = "".join(
        "<tr>"
        f'<td style="text-align:right;padding:0 .5em">{escape(label)}</td>'
        f'<td style="text-align:left;width:12em"><div style="background:#8a6d9c;height:.8em;'
        f'width:{12 * chance / longest:.2f}em"></div></td>'
        f'<td style="text-align:right;padding:0 .5em">{chance:.0%}</td>'
        "</tr>"
        for label, chance in rows
    )
    return f'<table style="border-collapse:collapse">{cells}</table>'


def card(
    text: str,
    rows: Sequence[tuple[str, float]],
    facts: Sequence[str],
    warnings: Sequence[str],
    beside: Sequence[str] = (),
) -> str:
    """A dating as HTML: the sentence, what stands beside it, the decades as bars, facts, warnings."""
    more = "".join(f"<li>{escape(fact)}</li>" for fact in facts)
    more += "".join(f"<li><em>{escape(warning)}</em></li>" for warning in warnings)
    text = "</p><p>".join(escape(each) for each in (text, *beside))
    return f'<div><p>{text}</p>{bars(rows)}<ul style="margin-top:.5em">{more}</ul></div>'


def word_table(text: str, rows: Sequence[tuple[str, str, str]], unsure: Sequence[str]) -> str:
    """Words as HTML: one line on them, then each with its meaning and the other words read as it."""
    left = "text-align:left;vertical-align:top;padding:.1em .6em"
    cells = "".join(
        f'<tr><th style="{left}">{escape(word)}</th><td style="{left}">{escape(means)}</td>'
        f'<td style="{left};color:#555">{escape(also)}</td></tr>'
        for word, means, also in rows
    )
    more = f"<p>Not looked at, or could not tell: {escape(', '.join(unsure))}</p>" if unsure else ""
    return f'<div><p>{escape(text)}</p><table style="border-collapse:collapse">{cells}</table>{more}</div>'
