"""``python -m tests.figures``: SECURITY.md and DEVELOPERS.md with the figures that stand in this folder."""

from tests.figures import PAGES, page

if __name__ == "__main__":
    for path, folder in PAGES.items():
        path.write_text(page(path.read_text(encoding="utf-8"), folder), encoding="utf-8")
