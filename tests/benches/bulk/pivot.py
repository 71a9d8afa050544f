"""Reads one by_year file with DuckDB and keeps maximum and minimum by station and day.

What stands beside `hatchbell import --bulk --every-station`: the same columns, rows that failed a
quality check dropped, a row a station and day, in a DuckDB file that is durable at the end.
"""

import sys

import duckdb

source, database = sys.argv[1:]
connection = duckdb.connect(database)
connection.execute(
    """
    CREATE TABLE reading AS
    SELECT
        station,
        day,
        max(value) FILTER (element = 'TMAX') AS tmax,
        max(value) FILTER (element = 'TMIN') AS tmin
    FROM read_csv(
        ?,
        header = false,
        delim = ',',
        quote = '',
        escape = '',
        auto_detect = false,
        dateformat = '%Y%m%d',
        columns = {
            'station': 'VARCHAR', 'day': 'DATE', 'element': 'VARCHAR', 'value': 'SMALLINT',
            'measurement': 'VARCHAR', 'quality': 'VARCHAR', 'source': 'VARCHAR', 'time': 'VARCHAR'
        }
    )
    WHERE element IN ('TMAX', 'TMIN') AND coalesce(quality, '') = ''
    GROUP BY station, day
    """,
    [source],
)
connection.execute("CHECKPOINT")
connection.close()
