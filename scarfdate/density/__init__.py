"""Densities over years from dates that are intervals: "1950s", "ca. 1968", "20th century".

Arrays in, arrays out: nothing here knows of scarves or files. Lowest first: `intervals` (distinct
intervals with their counts), `smooth` (a smooth density with a band), `statements` and
`statement_fit` (what a museum means by the date that it states, estimated with the density). The
nonparametric reference that they are held to is in the tests (``tests/density/turnbull.py``).
"""
