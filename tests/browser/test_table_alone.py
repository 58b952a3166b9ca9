"""How the sorting table looks and is used: on a phone and at a desk, by keys, by taps, by who listens to it."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from tests.browser.alone import TABLE, Alone

pytestmark = pytest.mark.browser

PHONE, DESK = (390, 844), (1280, 900)
# what lies on the table, reached from the start by these keys
STATES: dict[str, Sequence[str]] = {
    "nothing noted": (),
    "words with drawings": ("h",),
    "some clues, one in doubt": ("f", "s", "h", "h", "ArrowRight", "ArrowRight"),
    "a word typed": ("o", "/", *"ital"),
    "a size not understood": ("z", *"ninety", "Enter"),
    "two pieces": ("f", "s", "h", "h", "=", "f", "p", "h", "m"),
}


@pytest.fixture(scope="module", params=STATES)
def state(request, open_page: Callable, tmp_path_factory) -> Alone:
    shown = Alone(open_page, tmp_path_factory.mktemp("sheet") / "stock.csv")
    shown.page.keyboard.press("Tab")
    shown.press(*STATES[request.param])
    return shown


@pytest.fixture(params=[PHONE, DESK], ids=["phone", "desk"])
def size(request) -> tuple[int, int]:
    return request.param


@pytest.fixture
def table(state: Alone, size: tuple[int, int]) -> Alone:
    state.page.set_viewport_size({"width": size[0], "height": size[1]})
    return state


def test_axe_finds_nothing(table: Alone) -> None:
    """All rules of axe-core (MPL 2.0; it comes with the extra `browser`) on the whole page."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(table.page, options=None)
    assert found.violations_count == 0, found.generate_report()
    assert len(found.response["passes"]) > 15


def test_nothing_is_wider_than_the_page_or_its_place(table: Alone, size) -> None:
    assert table.page.evaluate("document.documentElement.scrollWidth") == size[0]
    spills = table.page.evaluate(
        f"""[...document.querySelectorAll("{TABLE} *")].filter((e) => {{
          const style = getComputedStyle(e);
          return style.display !== "inline" && !e.closest(".unseen, .bars") && e.scrollWidth > e.clientWidth + 1 && e.clientWidth;
        }}).map((e) => e.outerHTML.slice(0, 200))"""
    )
    assert spills == []


def test_who_listens_is_told_the_key_of_a_button(state: Alone) -> None:
    """What is drawn as a key is hidden from a screen reader; it stands as the key of the button."""
    keys = state.page.evaluate(
        f"""[...document.querySelectorAll("{TABLE} button:has(kbd)")].map((e) =>
          [e.querySelector("kbd").innerText, e.getAttribute("aria-keyshortcuts")])"""
    )
    assert len(keys) > 10
    assert all(named for _, named in keys)
    assert all(named == shown for shown, named in keys if shown.isalnum() and len(shown) == 1)


def test_letters_and_places_to_tap_are_large(table: Alone) -> None:
    """At arm's length: 15 pixels and more, 20 for what is read most; 44 to tap (WCAG 2.2, 2.5.5)."""
    letters = table.page.evaluate(
        f"""[...document.querySelectorAll("{TABLE} *")].filter((e) => e.innerText && !e.children.length
          && getComputedStyle(e).clipPath === "none").map((e) => parseFloat(getComputedStyle(e).fontSize))"""
    )
    assert min(letters) >= 14
    assert (
        table.page.evaluate(
            f"parseFloat(getComputedStyle(document.querySelector('{TABLE} .sentence')).fontSize)"
        )
        >= 20
    )
    places = table.page.evaluate(
        f"""[...document.querySelectorAll("{TABLE} :is(button, input)")].map((e) => e.getBoundingClientRect())
          .filter((box) => box.width).map((box) => Math.min(box.width, box.height))"""
    )
    assert min(places) >= 44


def test_no_colour_says_anything(table: Alone) -> None:
    """All that is drawn has the one colour of the page's letters, or none; pictures stand on white."""
    colours = table.page.evaluate(
        f"""[...new Set([...document.querySelectorAll("{TABLE} *")].flatMap((e) => {{
          const style = getComputedStyle(e);
          return [style.color, style.borderTopColor, style.outlineColor, style.backgroundColor, style.accentColor];
        }}))]"""
    )
    assert set(colours) <= {"rgb(0, 0, 0)", "rgba(0, 0, 0, 0)", "rgb(255, 255, 255)", "auto"}


def test_no_word_is_broken(table: Alone) -> None:
    """Each word of what is shown stands on one line."""
    broken = table.page.evaluate(
        f"""(() => {{
          const all = document.createTreeWalker(document.querySelector("{TABLE}"), NodeFilter.SHOW_TEXT);
          const broken = [];
          for (let node = all.nextNode(); node; node = all.nextNode())
            if (!node.parentElement.closest(".unseen, .bars")) for (const word of node.data.matchAll(/[^ \\n\\t]+/g)) {{
              const range = document.createRange();
              range.setStart(node, word.index);
              range.setEnd(node, word.index + word[0].length);
              const lines = new Set([...range.getClientRects()].map((box) => Math.round(box.top)));
              if (lines.size > 1) broken.push(word[0]);
            }}
          return broken;
        }})()"""
    )
    assert broken == []


def test_it_fetches_nothing_and_has_no_error(table: Alone) -> None:
    assert table.page.refused == []
    assert table.page.errors == []


# ------------------------------------------------------------------------ what a person does


@pytest.fixture
def fresh(open_page: Callable, tmp_path: Path) -> Alone:
    shown = Alone(open_page, tmp_path / "stock.csv", width=PHONE[0], height=PHONE[1])
    shown.page.keyboard.press("Tab")
    return shown


def test_a_phone_needs_no_keys(fresh: Alone) -> None:
    """By taps alone: a word, a doubt, a country that is typed, another tray; the answers are the engine's."""
    page = fresh.page

    def tap(name: str) -> None:
        page.get_by_role("button", name=name, exact=False).first.click()
        fresh.answered()

    tap("hem not looked at")
    tap("machine-rolled")
    page.get_by_role("slider").fill("0.3")
    fresh.answered()
    tap("origin")
    tap("type the word")
    page.keyboard.insert_text("Italie")  # as a phone's own keys do: no key is told, only the text
    fresh.answered()
    tap("take what is marked or typed")
    tap("1980-99")
    (row,) = fresh.rows()
    assert row["origin"] == "italy"
    assert json.loads(row["hem"])["machine-rolled"] == pytest.approx(0.73, abs=0.05)
    assert fresh.sorting.screen().trays[3].count == 1


def test_what_is_typed_quickly_arrives_whole(fresh: Alone) -> None:
    """Letters go first to the table and then to the line that opens: none is lost or turned round between."""
    fresh.page.keyboard.type("zabcdefghijklmnopqrstuvwxyz", delay=0)
    fresh.answered()
    assert fresh.sorting.screen().open.typed == "abcdefghijklmnopqrstuvwxyz"
    assert fresh.page.get_by_role("textbox").input_value() == "abcdefghijklmnopqrstuvwxyz"


def test_what_is_typed_is_text(fresh: Alone) -> None:
    nasty = '<img src=x onerror="window.run=1"><script>window.run=1</script>=1+1 \u202e'
    fresh.press("n")
    fresh.page.keyboard.insert_text(nasty)
    fresh.press("Enter", "Enter")
    assert fresh.page.evaluate("window.run") is None
    assert fresh.page.locator(f"{TABLE} img").count() == 0
    assert fresh.rows()[0]["note"].startswith("<img src=x")


def test_focus_is_seen_and_keys_of_the_page_stay_its_own(fresh: Alone) -> None:
    line = f"getComputedStyle(document.querySelector('{TABLE}')).borderTopColor"
    assert fresh.page.evaluate(line) == "rgb(0, 0, 0)"
    fresh.page.evaluate("window.addEventListener('keydown', (e) => (window.last = e.key))")
    fresh.press("Control+z", "Alt+ArrowLeft")
    assert fresh.sorting.screen().place == "clues"
    fresh.page.keyboard.press("Tab")
    assert fresh.page.evaluate(line) == "rgba(0, 0, 0, 0)"


def test_it_says_so_when_python_is_silent(fresh: Alone) -> None:
    fresh.page.evaluate("() => { window.hear = () => new Promise(() => {}); }")
    fresh.page.keyboard.press("f")
    fresh.page.get_by_role("alert").filter(has_text="kernel").wait_for(timeout=10_000)
