#!/usr/bin/env python3
"""Times whole runs of the program, each a process of its own, and prints a table.

    cargo build --release
    HATCHBELL_REAL_DATA=/folder tests/benches/seasons.py [KIND ...]

Kinds: demo, lawn, manager, coop, coop-treating, coop-10000. All but the demo read the station
files in $HATCHBELL_REAL_DATA/ghcn_coop (GHCN-Daily extracts of Illinois and Indiana, 1985 to 2014);
members and sites are invented. Processor seconds and peak memory are the operating system's.
"""
import os
import pathlib
import resource
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
PROGRAM = ROOT / "target" / "release" / "hatchbell"
SPECIES = ["japanese-beetle", "northern-masked-chafer", "southern-masked-chafer"]
# Kind: sites, members, stations, species, whether a preventive is used every year.
KINDS = {
    "lawn": (1, 1, 1, 1, False),
    "manager": (40, 1, 6, 3, True),
    "coop": (1000, 200, 72, 2, False),
    "coop-treating": (1000, 200, 72, 2, True),
    "coop-10000": (10000, 200, 72, 2, False),
}
HEAD = """[service]
name = "Invented co-op"
contact = "mailto:office@turf.example"
schedule = "0 20 6 * * *"
database = "hatchbell.db"

[demo]
starts = "2014-06-20T06:00:00Z"
seconds_per_day = 1.0
published_lag_days = 3
deliver = "console"

[email]
host = "localhost"
security = "tls"
from = "turf@turf.example"
"""


def configuration(kind, files):
    count, members, stations, species, treating = KINDS[kind]
    files = files[:: max(1, len(files) // stations)][:stations]
    ids = [file.stem.lower() for file in files]
    text = [HEAD]
    for place, file in enumerate(files):
        near = [ids[(place + step) % len(ids)] for step in (1, 2) if len(ids) > 2]
        text.append(
            f'[[station]]\nid = "{ids[place]}"\nname = "Station {ids[place]}"\n'
            f'dialect = "ghcn-extract"\nfile = "{file}"\nneighbours = {near}\n'.replace("'", '"')
        )
    for member in range(members):
        text.append(f'[[member]]\nid = "member-{member}"\nname = "Member {member}"\n')
        for number in range(member, count, members):
            text.append(
                f'[[member.site]]\nid = "field-{number}"\nname = "Field {number}"\n'
                f'turf = "bluegrass, irrigated"\nlatitude = 40.1\nstation = "{ids[number % len(ids)]}"\n'
                f'species = {SPECIES[:species]}\ncondition = "irrigated"\narea = "3 acres"\n'.replace("'", '"')
            )
            if treating:
                text.append(
                    'options = ["chlorantraniliprole", "imidacloprid", "trichlorfon"]\n'
                    'preventives = "every-year"\n'
                )
        text.append(
            f'[[member.recipient]]\nid = "keeper-{member}"\nname = "the keeper of member {member}"\n'
            f'email = "keeper{member}@turf.example"\n'
        )
    return "\n".join(text)


def timed(label, arguments):
    """Runs the program in a child of its own, so that its peak memory is its own."""
    child = os.fork()
    if child == 0:
        with open(os.devnull, "w") as nothing:
            done = subprocess.run([PROGRAM, *arguments], stdout=nothing, stderr=nothing, cwd=ROOT)
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        outcome = "" if done.returncode == 0 else f" (exit code {done.returncode})"
        print(
            f"| {label} | {used.ru_utime + used.ru_stime:.2f} | {used.ru_maxrss / 1024:.0f} |{outcome}",
            flush=True,
        )
        os._exit(0)
    os.waitpid(child, 0)


def main():
    kinds = sys.argv[1:] or ["demo", *KINDS]
    data = os.environ.get("HATCHBELL_REAL_DATA")
    if not PROGRAM.exists():
        sys.exit("build it first: cargo build --release")
    if data is None and kinds != ["demo"]:
        sys.exit("HATCHBELL_REAL_DATA names no folder of station files; only `demo` needs none")
    print("| | processor s | peak memory, MiB |\n|---|---|---|")
    for kind in kinds:
        if kind == "demo":
            timed("`replay` of the demonstration", ["replay", "--config", "config/demo.toml"])
            continue
        if kind not in KINDS:
            sys.exit(f"there is no kind {kind}; there are demo, {', '.join(KINDS)}")
        files = sorted((pathlib.Path(data) / "ghcn_coop").glob("USC0011*.txt"))
        files += sorted((pathlib.Path(data) / "ghcn_coop").glob("USC0012*.txt"))
        with tempfile.TemporaryDirectory() as folder:
            config = pathlib.Path(folder) / "hatchbell.toml"
            config.write_text(configuration(kind, files))
            option = ["--config", str(config)]
            if kind in ("lawn", "manager"):
                timed(f"`replay` of a season, {kind}", ["replay", *option])
                continue
            timed(f"`run --once`, first, {kind}", ["run", "--once", *option])
            timed(f"`run --once`, next day, {kind}", ["run", "--once", *option])
            timed(f"`status`, {kind}", ["status", *option])
            timed(f"`plan` of a site, {kind}", ["plan", "field-7", *option])


if __name__ == "__main__":
    main()
