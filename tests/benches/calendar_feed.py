#!/usr/bin/env python3
"""Times one answer of a calendar that holds all sites of a co-op, and prints a table.

    cargo build --release
    HATCHBELL_REAL_DATA=/folder tests/benches/calendar_feed.py [SITES ...]

Reads the station files that seasons.py reads; members and sites are invented, with a preventive every
year at every site. `first` is the first answer of all, which writes down what it publishes; `after a
change` is one that the database has changed before, `again` one that it has not. Medians of five.
"""
import http.client
import os
import pathlib
import re
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time

import seasons


def fetched(address, path):
    begun = time.monotonic()
    connection = http.client.HTTPConnection(address, timeout=60)
    connection.request("GET", path)
    answer = connection.getresponse()
    text = answer.read()
    assert answer.status == 200, (answer.status, text)
    return 1000 * (time.monotonic() - begun), text


def measured(sites, files):
    seasons.KINDS["calendar"] = (sites, max(1, sites // 5), 72, 2, True)
    with tempfile.TemporaryDirectory() as folder:
        config = pathlib.Path(folder) / "hatchbell.toml"
        text = seasons.configuration("calendar", files)
        reader = re.search(r'\[\[member\.recipient\]\]\nid = "(.*?)"', text)[1]
        text = text.replace("[service]\n", f'[service]\noperator = "{reader}"\n', 1)
        text = text.replace("seconds_per_day = 1.0", "seconds_per_day = 86400.0")
        text += '\n[web]\nlisten = "127.0.0.1:0"\naddress = "https://turf.example/"\nsign_in = true\n'
        config.write_text(text)
        run = [seasons.PROGRAM, "run", "--config", config]
        subprocess.run([*run, "--once"], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        printed = subprocess.run(
            [seasons.PROGRAM, "calendar", "--config", config, reader], check=True, capture_output=True, text=True
        )
        path = printed.stdout.strip().removeprefix("https://turf.example")
        said = pathlib.Path(folder) / "said"
        with said.open("w") as output:
            service = subprocess.Popen(run, stdout=output, stderr=output, stdin=subprocess.DEVNULL)
        try:
            while not (found := re.search(r"the page is at http://([^/]+)/", said.read_text())):
                time.sleep(0.05)
            while "next look" not in said.read_text():
                time.sleep(0.05)
            first, text = fetched(found[1], path)
            changed, again = [], []
            for number in range(5):
                with sqlite3.connect(pathlib.Path(folder) / "hatchbell.db") as database:
                    database.execute("INSERT OR REPLACE INTO note VALUES ('bench', ?)", [str(number)])
                database.close()
                changed.append(fetched(found[1], path)[0])
                again.append(fetched(found[1], path)[0])
        finally:
            service.terminate()
            service.wait()
    events = text.count(b"BEGIN:VEVENT")
    times = f"{first:.0f} | {statistics.median(changed):.0f} | {statistics.median(again):.0f}"
    print(f"| {sites} | {events} | {len(text) / 1024:.0f} | {times} |", flush=True)


def main():
    data = os.environ.get("HATCHBELL_REAL_DATA")
    if data is None:
        sys.exit("HATCHBELL_REAL_DATA names no folder of station files")
    files = sorted((pathlib.Path(data) / "ghcn_coop").glob("USC0011*.txt"))
    files += sorted((pathlib.Path(data) / "ghcn_coop").glob("USC0012*.txt"))
    print("| sites | events | KiB | first, ms | after a change, ms | again, ms |\n|---|---|---|---|---|---|")
    for sites in sys.argv[1:] or ["300", "1000"]:
        measured(int(sites), files)


if __name__ == "__main__":
    main()
