"""The program with everything loaded, forked into a fresh process for each run it is asked for.

Run as a script. Each line of standard input asks for a run: arguments, folder and the files
that take what it prints, as JSON. It answers with the process's number, and with its exit
status once it has ended. Loading takes a second; hundreds of runs could not wait for it.
"""

from __future__ import annotations

import json
import os
import signal
import sys

import bellcrank.commands.cli
import bellcrank.commands.start

_ASKS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
"""What asks a run to stop. They wait until what it prints goes where it is asked for, as they
would for one that a shell starts."""


def run(arguments: list[str], folder: str, out: str, err: str) -> None:
    os.chdir(folder)
    for number, name in ((1, out), (2, err)):
        file = os.open(name, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o666)
        os.dup2(file, number)
        os.close(file)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, _ASKS)
    sys.stdin = open(0, encoding="utf-8")  # noqa: SIM115
    sys.argv = ["bellcrank", *arguments]
    sys.exit(bellcrank.commands.start.main())


def main() -> None:
    for command in ("send", "commission"):  # what takes long is loaded here
        bellcrank.commands.cli.load([command])
    # Until it sets its own, a run does with Ctrl-C what one does that loads.
    signal.signal(signal.SIGINT, bellcrank.commands.start._leave)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.signal(signal.SIGHUP, signal.SIG_DFL)
    for line in iter(sys.stdin.readline, ""):
        asked = json.loads(line)
        signal.pthread_sigmask(signal.SIG_BLOCK, _ASKS)
        number = os.fork()
        if not number:
            run(**asked)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _ASKS)
        print(number, flush=True)
        print(os.waitstatus_to_exitcode(os.waitpid(number, 0)[1]), flush=True)


if __name__ == "__main__":
    main()
