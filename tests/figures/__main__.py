"""``python -m tests.figures``: SECURITY.md with the figures that stand in this folder."""

from tests.figures import PAGE, page

if __name__ == "__main__":
    PAGE.write_text(page(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
