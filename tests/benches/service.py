#!/usr/bin/env python3
"""Times the service at its edges, on loopback, and prints a table.

    cargo build --release
    HATCHBELL_REAL_DATA=/folder tests/benches/service.py [KIND ...]
    HATCHBELL_PROGRAM=/other/hatchbell ... times another build

Kinds: mails and pushes (100,000 messages that wait, sent to one server that takes them all), idle
(50 sites, three minutes without work), ready (from the start to READY=1 with 10,000 sites whose
days are stored), page-100, page-1000 and page-1000-treating (the page as the operator sees it, by a
token: the first answer, the one after an entry at a site, and the middle of later ones, then as many requests as eight connections get
answered in ten seconds, the program on one core and whoever asks on another). `ready` and `page` read
$HATCHBELL_REAL_DATA. The servers are as small as they can be and run in processes of their own;
members and sites are invented. Peak memory is VmHWM of the program, wake-ups are the voluntary
switches of its threads.
"""
import asyncio
import http.client
import multiprocessing
import os
import pathlib
import re
import secrets
import signal
import statistics
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time

import seasons

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
PROGRAM = pathlib.Path(os.environ.get("HATCHBELL_PROGRAM", ROOT / "target" / "release" / "hatchbell"))
MESSAGES = 100_000
HEAD = """[service]
name = "Invented co-op"
contact = "mailto:office@turf.example"
schedule = "0 20 6 * * *"
database = "hatchbell.db"

[[station]]
id = "meadow"
name = "Meadow"
dialect = "ncei-export"
unit = "celsius"
file = "meadow.csv"

[[member]]
id = "co-op"
name = "Invented co-op"
"""
SITE = """
[[member.site]]
id = "field-{number}"
name = "Field {number}"
turf = "bluegrass, irrigated"
latitude = 40.1
station = "meadow"
species = ["japanese-beetle", "northern-masked-chafer"]
condition = "irrigated"
"""
MAIL = """
[[member.recipient]]
id = "keeper"
name = "the keeper"
email = "keeper@turf.example"

[email]
host = "localhost"
port = {port}
security = "plain"
from = "turf@turf.example"
"""
PUSH = """
[[member.recipient]]
id = "keeper"
name = "the keeper"

[member.recipient.push]
url = "http://127.0.0.1:{port}/turf"
format = "text"
"""
# As long as a usual message.
BODY = "Japanese beetle: dig before 9 August.\n" * 20


class MailServer(asyncio.Protocol):
    """Takes every mail."""

    def connection_made(self, transport):
        self.transport, self.rest, self.in_data = transport, b"", False
        transport.write(b"220 sink\r\n")

    def data_received(self, data):
        *lines, self.rest = (self.rest + data).split(b"\r\n")
        for line in lines:
            if self.in_data:
                if line == b".":
                    self.in_data = False
                    self.transport.write(b"250 taken\r\n")
                continue
            word = line[:4].upper()
            self.in_data = word == b"DATA"
            self.transport.write(b"354 go on\r\n" if self.in_data else b"250 yes\r\n")
            if word == b"QUIT":
                self.transport.close()


class PushServer(asyncio.Protocol):
    """Takes every push."""

    def connection_made(self, transport):
        self.transport, self.data = transport, b""

    def data_received(self, data):
        self.data += data
        while b"\r\n\r\n" in self.data:
            head, rest = self.data.split(b"\r\n\r\n", 1)
            fields = [line.split(b":", 1) for line in head.split(b"\r\n")[1:]]
            length = sum(int(value) for name, value in fields if name.lower() == b"content-length")
            if len(rest) < length:
                return
            self.data = rest[length:]
            self.transport.write(b"HTTP/1.1 200 OK\r\ncontent-length: 0\r\n\r\n")


def serve(protocol, listening):
    async def forever():
        server = await asyncio.get_running_loop().create_server(protocol, sock=listening)
        await server.serve_forever()

    asyncio.run(forever())


def served(protocol):
    """A server in a process of its own, and its port."""
    listening = socket.create_server(("127.0.0.1", 0), backlog=128)
    process = multiprocessing.Process(target=serve, args=(protocol, listening), daemon=True)
    process.start()
    return process, listening.getsockname()[1]


def status_of(pid, key):
    for line in pathlib.Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith(f"{key}:"):
            return int(line.split()[1])
    return 0


def wake_ups(pid):
    tasks = pathlib.Path(f"/proc/{pid}/task").iterdir()
    return sum(status_of(f"{pid}/task/{task.name}", "voluntary_ctxt_switches") for task in tasks)


def started(config, **more):
    return subprocess.Popen(
        [PROGRAM, "run", "--config", config, *more.pop("options", [])],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        **more,
    )


def write(folder, text):
    config = pathlib.Path(folder) / "hatchbell.toml"
    config.write_text(text)
    today = time.time()
    days = [time.strftime("%Y-%m-%d", time.gmtime(today - age * 86400)) for age in range(400, 1, -1)]
    rows = "".join(f"ZZ1,Meadow,{day},20.0,10.0\n" for day in days)
    (pathlib.Path(folder) / "meadow.csv").write_text("STATION,NAME,DATE,TMAX,TMIN\n" + rows)
    return config


def drained(label, protocol, recipient, channel):
    server, port = served(protocol)
    with tempfile.TemporaryDirectory() as folder:
        config = write(folder, HEAD + SITE.format(number=1) + recipient.format(port=port))
        started(config, options=["--once"]).wait()
        with sqlite3.connect(pathlib.Path(folder) / "hatchbell.db") as database:
            database.execute("DELETE FROM outbox")
            rows = (
                ("keeper", channel, f"Field 1: message {number}", BODY, secrets.token_hex(16), "co-op")
                for number in range(MESSAGES)
            )
            database.executemany(
                "INSERT INTO outbox (recipient, channel, title, body, created_at, next_try_at,"
                " message_id, member) VALUES (?, ?, ?, ?, datetime('now') || '+00:00',"
                " datetime('now') || '+00:00', ?, ?)",
                rows,
            )
        begun = time.monotonic()
        program = started(config, options=["--once"])
        peak = 0
        while program.poll() is None:
            try:
                peak = max(peak, status_of(program.pid, "VmHWM"))
            except OSError:
                break
            time.sleep(0.5)
        program.wait()
        seconds = time.monotonic() - begun
        with sqlite3.connect(pathlib.Path(folder) / "hatchbell.db") as database:
            [(sent,)] = database.execute("SELECT count(*) FROM outbox WHERE state = 'sent'")
        print(f"| {sent:,} of {MESSAGES:,} {label} sent | {seconds:.0f} s | {peak / 1024:.0f} |", flush=True)
    server.terminate()


def idle():
    with tempfile.TemporaryDirectory() as folder:
        sites = "".join(SITE.format(number=number) for number in range(50))
        program = started(write(folder, HEAD + sites + PUSH.format(port=9)))
        time.sleep(20)
        before = wake_ups(program.pid)
        time.sleep(180)
        woken = wake_ups(program.pid) - before
        resident = status_of(program.pid, "VmRSS")
        program.send_signal(signal.SIGTERM)
        program.wait()
        print(f"| idle, 50 sites: {woken / 3:.1f} wake-ups a minute | | {resident / 1024:.0f} |", flush=True)


def ready():
    data = os.environ.get("HATCHBELL_REAL_DATA")
    if data is None:
        sys.exit("HATCHBELL_REAL_DATA names no folder of station files; `ready` needs them")
    files = sorted((pathlib.Path(data) / "ghcn_coop").glob("USC0011*.txt"))
    files += sorted((pathlib.Path(data) / "ghcn_coop").glob("USC0012*.txt"))
    with tempfile.TemporaryDirectory() as folder:
        config = pathlib.Path(folder) / "hatchbell.toml"
        config.write_text(seasons.configuration("coop-10000", files))
        started(config, options=["--once"]).wait()
        path = os.path.join(folder, "notify")
        times = []
        for _ in range(5):
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
                listening.bind(path)
                begun = time.monotonic()
                program = started(config, env={**os.environ, "NOTIFY_SOCKET": path})
                while b"READY=1" not in listening.recv(4096):
                    pass
                times.append(time.monotonic() - begun)
                program.kill()
                program.wait()
            os.unlink(path)
        shown = ", ".join(f"{1000 * seconds:.0f}" for seconds in sorted(times))
        print(f"| ready with 10,000 sites: {shown} ms | | |", flush=True)


class Caller(asyncio.Protocol):
    """Asks for one address again and again, and counts whole answers."""

    def __init__(self, request, tally):
        self.request, self.tally, self.rest, self.wanted = request, tally, b"", None

    def connection_made(self, transport):
        self.transport = transport
        transport.write(self.request)

    def data_received(self, data):
        self.rest += data
        if self.wanted is None and b"\r\n\r\n" in self.rest:
            head = self.rest.split(b"\r\n\r\n", 1)[0]
            length = re.search(rb"(?i)content-length: (\d+)", head)
            self.tally["ok" if b" 200 " in head[:16] else "failed"] += 1
            self.wanted = len(head) + 4 + int(length.group(1))
        if self.wanted is not None and len(self.rest) >= self.wanted:
            self.rest, self.wanted = b"", None
            self.transport.write(self.request)


def called(port, path, token, seconds, answers):
    """Asks over eight connections from a core of its own; what was answered goes to the queue."""
    os.sched_setaffinity(0, {1})
    tally = {"ok": 0, "failed": 0}
    request = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nAuthorization: Bearer {token}\r\n\r\n".encode()

    async def ask():
        loop = asyncio.get_running_loop()
        for _ in range(8):
            await loop.create_connection(lambda: Caller(request, tally), "127.0.0.1", port)
        await asyncio.sleep(seconds)

    asyncio.run(ask())
    answers.put(tally)


def page(kind):
    data = os.environ.get("HATCHBELL_REAL_DATA")
    if data is None:
        sys.exit("HATCHBELL_REAL_DATA names no folder of station files; `page` needs them")
    files = sorted((pathlib.Path(data) / "ghcn_coop").glob("USC0011*.txt"))
    files += sorted((pathlib.Path(data) / "ghcn_coop").glob("USC0012*.txt"))
    seasons.KINDS["page-100"] = (100, 20, 72, 2, False)
    with tempfile.TemporaryDirectory() as folder:
        config = pathlib.Path(folder) / "hatchbell.toml"
        sites = {"page-1000": "coop", "page-1000-treating": "coop-treating"}.get(kind, kind)
        text = seasons.configuration(sites, files)
        # One day, which lasts as long as is asked for.
        text = text.replace("seconds_per_day = 1.0", "seconds_per_day = 86400.0")
        text = text.replace('[service]\n', '[service]\noperator = "keeper-0"\n', 1)
        text = '[web]\nlisten = "127.0.0.1:0"\naddress = "http://127.0.0.1/"\nsign_in = true\n\n' + text
        config.write_text(text)
        said = pathlib.Path(folder) / "said"
        with said.open("wb") as into:
            program = subprocess.Popen(
                ["taskset", "-c", "0", PROGRAM, "run", "--config", config], stdout=into, stderr=into
            )
        while not (found := re.search(r"the page is at http://127.0.0.1:(\d+)/", said.read_text())):
            time.sleep(0.1)
        port = int(found.group(1))
        while "stations asked" not in said.read_text():
            time.sleep(0.1)
        made = subprocess.run(
            [PROGRAM, "member", "token", "keeper-0", "--config", config],
            capture_output=True, text=True, check=True,
        )
        token = re.search(r"[A-Za-z0-9_-]{40,}", made.stdout).group(0)
        # The page looks ahead after a cycle.
        time.sleep(2)
        for name, path in (("week", "/"), ("site", "/sites/field-7"), ("week for programs", "/api/v1/week")):
            times = []
            line = http.client.HTTPConnection("127.0.0.1", port)
            for number in range(22):
                if number == 1:
                    subprocess.run(
                        [PROGRAM, "log", "note", "--site", "field-7", "--remark", "walked", "--config", config],
                        capture_output=True, check=True,
                    )
                begun = time.monotonic()
                line.request("GET", path, headers={"Authorization": f"Bearer {token}"})
                answer = line.getresponse()
                body = answer.read()
                times.append(1000 * (time.monotonic() - begun))
                if answer.status != 200:
                    sys.exit(f"{path}: {answer.status}")
            answers = multiprocessing.Queue()
            seconds = 10
            caller = multiprocessing.Process(target=called, args=(port, path, token, seconds, answers))
            caller.start()
            tally = answers.get()
            caller.join()
            print(
                f"| {kind}, {name}, {len(body) / 1024:.0f} KiB: first {times[0]:.1f} ms, after an entry"
                f" {times[1]:.1f} ms, then {statistics.median(times[2:]):.1f} ms; {tally['ok'] / seconds:.0f} a second,"
                f" {tally['failed']} failed | | {status_of(program.pid, 'VmHWM') / 1024:.0f} |",
                flush=True,
            )
        program.send_signal(signal.SIGTERM)
        program.wait()


KINDS = {
    "mails": lambda: drained("mails", MailServer, MAIL, "email"),
    "pushes": lambda: drained("pushes", PushServer, PUSH, "push"),
    "idle": idle,
    "ready": ready,
    "page-100": lambda: page("page-100"),
    "page-1000": lambda: page("page-1000"),
    "page-1000-treating": lambda: page("page-1000-treating"),
}


def main():
    kinds = sys.argv[1:] or list(KINDS)
    if not PROGRAM.exists():
        sys.exit("build it first: cargo build --release")
    if unknown := [kind for kind in kinds if kind not in KINDS]:
        sys.exit(f"there is no kind {unknown[0]}; there are {', '.join(KINDS)}")
    print("| | wall | memory, MiB |\n|---|---|---|")
    for kind in kinds:
        KINDS[kind]()


if __name__ == "__main__":
    main()
