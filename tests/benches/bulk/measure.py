"""Runs a command and prints how long it took, in seconds, and the most memory it held, in KiB."""

import os
import sys
import time

command = sys.argv[1:]
start = time.perf_counter()
child = os.posix_spawnp(
    command[0], command, os.environ, file_actions=[(os.POSIX_SPAWN_DUP2, 2, 1)]
)
_, status, usage = os.wait4(child, 0)
seconds = time.perf_counter() - start
print(seconds, usage.ru_maxrss)
sys.exit(os.waitstatus_to_exitcode(status))
