"""Densities over years from dates that are intervals: "1950s", "ca. 1968", "20th century".

Arrays in, arrays out: nothing here knows of scarves or files. Lowest first: `intervals` (distinct
intervals with their counts); `likelihood`, `mode`, `held_out` and `smooth` (a smooth density with a
band); `kinds`, `stated` and `statements` (what a museum means by the date that it states);
`kind_shares`, `ascent` and `statement_fit` (that estimated together with the density). The
nonparametric reference that they are held to is ``notebooks/turnbull.py``.
"""
