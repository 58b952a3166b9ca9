"""``python -m scarfdate.cli`` is ``scarfdate``."""

from scarfdate.cli import main

if __name__ == "__main__":
    main()
