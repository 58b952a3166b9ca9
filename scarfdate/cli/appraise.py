"""``appraise``: what to pay for a piece, for a box, or for each piece of a sheet."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import click

from scarfdate.answer.again import beside
from scarfdate.cli.front import (
    Layout,
    id_option,
    model_options,
    not_read,
    priors_in,
    row_options,
    say_wrapped,
)
from scarfdate.cli.pieces import (
    apart,
    piece,
    row_of,
    say_left_out,
    scarf_of,
    sheet_of,
)
from scarfdate.show.sentence import percent
from scarfdate.show.terminal import clean, clipped, fit, say

if TYPE_CHECKING:
    import pandas as pd

_ID = 20
_LOOKS = 5  # of a buying list; more is no help
# the columns of the printed list, how wide each is, and its heading
_MONEY = (("asked", 8, "asked"), ("pay_at_most", 10, "pay up to"), ("sells_for", 10, "sells for"),
          ("expected_profit", 9, "profit"))  # fmt: skip


@click.command("appraise")
@click.argument("seen", nargs=-1, required=True, metavar="FILE|CLUE=VALUE...")
@id_option
@click.option("--asking", metavar="MONEY", help="What is asked for the piece.")
@click.option("--lot", metavar="MONEY", help="All of FILE is one lot; what is asked for it, or ?.")
@click.option("--condition", metavar="TEXT", help="Its faults: '2 small pulls near edge'.")
@click.option("--costs", metavar="COSTS.toml", help="What selling costs you.")
@click.option("--prices", metavar="DIR", help="Prices learned from your book.")
@click.option("--risk", type=float, default=0.2, show_default=True, help="Chance of a loss that you accept.")  # fmt: skip
@click.option("--offer", metavar="MONEY", help="If it is yours: what somebody offers.")
@click.option("--sell-by", "sale_channel", metavar="NAME", help="Where you would sell it, as your book calls it.")  # fmt: skip
@click.option("--season", metavar="NAME", help="When: winter, spring, summer or autumn.")
@click.option("--out", metavar="FILE", help="Write the buying list: .csv .xlsx .json .parquet.")
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@row_options
@model_options
@click.pass_context
def appraise(
    ctx: click.Context, seen: tuple[str, ...], wanted: str | None, asking: str | None, lot: str | None,
    condition: str | None, costs: str | None, prices: str | None, risk: float, offer: str | None,
    sale_channel: str | None, season: str | None, out: str | None, force: bool, layout: Layout, channel: str, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Say what to pay for a piece, a box or a sheet, and what to do with yours.

    \b
    scarfdate appraise fibre=silk condition='faint stain' --asking 12
    scarfdate appraise offered.csv --costs costs.toml --prices mine --out buy.csv
    scarfdate appraise box.csv --lot 180 --costs costs.toml --prices mine
    Without --prices the numbers are invented, to try things out.
    """
    priors = priors_in(folder)
    terms: dict[str, Any] = {
        "costs": costs, "prices": prices, "risk": risk, "priors": priors, "channel": channel,
        "sale_channel": sale_channel, "season": season, "as_of": as_of,
    }  # fmt: skip
    if len(seen) > 1 or "=" in seen[0] or wanted is not None:
        if lot is not None or out is not None:
            raise click.UsageError("--lot and --out go with a whole FILE")
        clues, faults = apart(seen, condition)
        _one(clues, wanted, asking, faults, offer, layout, terms)
        return
    if asking is not None or condition is not None or offer is not None:
        raise click.UsageError("--asking, --condition and --offer go with one piece: add --id ID")
    if lot is not None:
        all_read = _lot(seen[0], lot, layout, terms)
    else:
        all_read = _table(seen[0], out, force, layout, terms)
    if not all_read:
        ctx.exit(1)


def _one(
    seen: tuple[str, ...], wanted: str | None, asking: str | None, condition: str | None,
    offer: str | None, layout: Layout, terms: dict[str, Any],
) -> None:  # fmt: skip
    import scarfdate
    from scarfdate.worth.offered import offered
    from scarfdate.worth.prices import load_prices

    priors = terms["priors"]
    prices = terms["prices"] = load_prices(terms["prices"])
    money: object = asking
    faults: object = condition
    if len(seen) == 1 and "=" not in seen[0]:  # a row of a file says more than its clues
        _, row, unit = row_of(seen[0], wanted, priors, layout)
        scarf, beside = scarf_of(row, priors, unit), offered(row, priors, prices.currency)
        for text in beside.not_read.get(0, ()):
            say_wrapped(f"left out: {text}", err=True)
        not_read(beside.not_read.get(0))
        if asking is None and not math.isnan(beside.asked[0]):
            money = float(beside.asked[0])
        faults = beside.conditions[0] if condition is None else condition
    else:
        scarf = piece(seen, wanted, priors, layout)
    found = scarfdate.appraise(scarf, money, condition=faults, offer=offer, **terms)  # type: ignore[arg-type]
    for line in str(found).splitlines():
        say_wrapped(line)


def _lot(file: str, price: str, layout: Layout, terms: dict[str, Any]) -> bool:
    """What a lot may bring, printed; whether everything could be read."""
    import scarfdate

    read = sheet_of(file, terms["priors"], layout)
    asked = None if price == "?" else price
    found = scarfdate.appraise_lot(read.clues, asked, unit=read.unit, **terms)
    for line in str(found).splitlines():
        say_wrapped(line)
    return not say_left_out(
        (found.ids[row], "; ".join(told)) for row, told in found.not_read.items()
    )


def _table(
    file: str, out: str | None, force: bool, layout: Layout, terms: dict[str, Any],
) -> bool:  # fmt: skip
    """The buying list, printed and written; whether everything could be read."""
    import scarfdate
    from scarfdate.reading.written import check_out, write_table
    from scarfdate.worth.amounts import amount
    from scarfdate.worth.buying_list import NUMBERS

    if out is not None:
        check_out(out, force)
    read = sheet_of(file, terms["priors"], layout)
    answers = scarfdate.appraise_table(read.clues, unit=read.unit, **terms)
    notes, currency = answers.attrs["notes"], answers.attrs["currency"]
    if out is not None:
        order = read.clues.index.get_indexer(answers.index)
        digits = dict.fromkeys(NUMBERS, 2) | {"loss_probability": 3}
        written = answers.drop(columns=["id", "asked"]).round(digits)
        write_table(beside(read.table.iloc[order], written), out, new=not force)
    _print(answers)
    buys = answers[answers["advice"] == "buy"]
    text = f"{len(answers)} pieces: buy {len(buys)} of them"
    if len(buys):
        paid, earned = (amount(buys[name].sum(), currency) for name in ("asked", "expected_profit"))
        text += f" for {paid} together, to earn about {earned}"
    say_wrapped(f"{text}." + (f" Written to {out}." if out is not None else ""))
    looks = answers[answers["look"].notna()]
    for called, look in zip(looks["id"][:_LOOKS], looks["look"][:_LOOKS], strict=True):
        say_wrapped(f"{clean(called)}: {look}")
    if len(looks) > _LOOKS:
        say(f"And {len(looks) - _LOOKS} more to look at first.")
    for note in notes:
        say_wrapped(note)
    left = answers[answers["not_read"].notna()]
    return not say_left_out(zip(left["id"], left["not_read"], strict=True))


def _print(answers: pd.DataFrame) -> None:
    """The buying list within the width of a screen: whole money, blank where no price is asked."""
    heads = "".join(f"{heading:>{width}}" for _, width, heading in _MONEY)
    say(f"{'':{_ID}}{heads}{'loses':>10}  do")
    columns = ("id", *(name for name, _, _ in _MONEY), "loss_probability", "advice")
    for name, *money, loses, advice in zip(*(answers[c].tolist() for c in columns), strict=True):
        called = clipped(fit(clean(name)), _ID - 1)
        amounts = "".join(
            _money(one, width) for one, (_, width, _) in zip(money, _MONEY, strict=True)
        )
        chance = "" if math.isnan(loses) else percent(loses)
        say(f"{called:<{_ID}}{amounts}{chance:>10}  {advice}")
    say_wrapped(
        "Loses: the chance of a loss at the price asked. Sells for: the middle, half of such pieces bring more. Profit: "
        "what can be expected on average, after all costs; the few that bring far more raise it."
    )


def _money(value: float, width: int) -> str:
    return f"{'' if math.isnan(value) else f'{value:.0f}':>{width}}"


COMMANDS = (appraise,)
