"""``lessons``: the notebooks as pages, for reading without Python."""

from __future__ import annotations

import time
from pathlib import Path

import click

from scarfdate.cli.front import say_wrapped


@click.command("lessons")
@click.argument("out", metavar="OUT")
@click.option("--only", multiple=True, metavar="NAME", help="Only this lesson; may be repeated.")
@click.option("--force", is_flag=True, help="Write over pages that are in OUT.")
@click.pass_context
def lessons(ctx: click.Context, out: str, only: tuple[str, ...], force: bool) -> None:
    """Run the lessons and write them as pages into the folder OUT, to be read without Python.

    Each page holds its pictures; nothing is fetched when it is read. OUT is a new or empty folder; begin
    with OUT/index.html. All lessons take some minutes. Needs the extra: notebooks.
    A lesson that needs more than is installed is named and left out.

    \b
    scarfdate lessons pages
    scarfdate lessons pages --only start_here
    """
    from scarfdate.lessons.pages import INDEX, write_lessons

    started = time.monotonic()

    def told(name: str, fault: str | None) -> None:
        nonlocal started
        if fault is None:
            say_wrapped(f"{name}: {time.monotonic() - started:.0f} s")
        else:
            say_wrapped(f"{name} is left out: {fault}", err=True)
        started = time.monotonic()

    wrong = write_lessons(out, only, force=force, told=told)
    say_wrapped(f"Begin with {Path(out) / INDEX}")
    if wrong:
        ctx.exit(1)


COMMANDS = (lessons,)
