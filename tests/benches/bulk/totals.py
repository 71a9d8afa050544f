"""Prints what the table of `pivot.py` holds: station-days, maxima, minima and their sums."""

import sys

import duckdb

with duckdb.connect(sys.argv[1], read_only=True) as connection:
    totals = connection.execute(
        "SELECT count(*), count(tmax), count(tmin), sum(tmax), sum(tmin) FROM reading"
    ).fetchone()
print(*totals)
