"""The test command: `python -m tests.run [pytest arguments]`, called by `make test`.

Starts a private PostgreSQL and Redis, runs the suite on SQLite with the embedded broker and then on
PostgreSQL with Redis, as the plain application role, and stops everything again.

A few failures are run once more, alone: what then passes is named UNSTABLE and is a defect of its
own (docs/decisions/0010).
"""

import argparse
import ctypes
import json
import os
import signal
import subprocess
import sys
import time
from contextlib import ExitStack, suppress
from pathlib import Path

from tests import servers

_PR_SET_CHILD_SUBREAPER = 36
_FAILED, _NO_TESTS = 1, 5
_CACHE = Path(".pytest_cache") / "run"
# More than these at once are no race between two processes.
_MAY_BE_UNSTABLE = 3
# For what a test has told to end, and what goes down with it.
_SECONDS_TO_END = 20.0
# For a machine of two processors; on PostgreSQL a worker often waits for servers and the browser.
_WORKERS = {"sqlite": "2", "postgres": "3"}
_TITLES = {"sqlite": "SQLite and the embedded broker", "postgres": "PostgreSQL and Redis"}


def main() -> int:
    """Run what was asked for; return 0 when all of it passed."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    # Processes that a crashed test leaves behind become children of this one, which ends them.
    ctypes.CDLL(None).prctl(_PR_SET_CHILD_SUBREAPER, 1)
    options, rest = _options()
    started = time.monotonic()
    results: dict[str, tuple[int, float]] = {}
    unstable: list[str] = []
    try:
        for database in options.databases:
            before = time.monotonic()
            arguments = _pytest_arguments(options, database, rest)
            code, passed_alone = _run_on(database, arguments, again=not options.fuzz)
            results[database] = code, time.monotonic() - before
            unstable += passed_alone
            if code not in (0, _NO_TESTS):
                break
    finally:
        left_behind = _end_orphans()
    for database, (code, seconds) in results.items():
        verdict = {0: "passed", _NO_TESTS: "nothing to run"}.get(code, "FAILED")
        _say(f"{_TITLES[database]}: {verdict} in {seconds:.0f} s")
    for test in unstable:
        _say(f"UNSTABLE, failed and then passed alone: {test}")
    for process in left_behind:
        _say(f"left behind, now ended: {process}")
    _say(f"total: {time.monotonic() - started:.0f} s")
    codes = [code for code, _ in results.values()]
    if all(code == _NO_TESTS for code in codes):
        return _NO_TESTS
    return next((code for code in codes if code not in (0, _NO_TESTS)), 1 if left_behind else 0)


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _options() -> tuple[argparse.Namespace, list[str]]:
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--database", choices=_TITLES, action="append", dest="databases")
    parser.add_argument("--bench", action="store_true", help="print sizes and seconds instead")
    parser.add_argument("--fuzz", action="store_true", help="run the long searches instead")
    options, rest = parser.parse_known_args()
    options.databases = options.databases or (["postgres"] if options.bench else list(_TITLES))
    return options, rest


def _pytest_arguments(options: argparse.Namespace, database: str, rest: list[str]) -> list[str]:
    if options.bench:
        chosen = [
            "tests/load",
            "-o",
            "python_files=bench_*.py",
            "-o",
            "python_functions=bench_*",
            "-s",
        ]
    elif options.fuzz:
        chosen = ["--fuzz", "-n", _WORKERS[database]]
    else:
        chosen = ["-n", _WORKERS[database]]
    if database != options.databases[0]:
        chosen.append("--only-database")
    return ["-q", *chosen, *rest]


def _run_on(database: str, arguments: list[str], *, again: bool) -> tuple[int, list[str]]:
    """Run pytest on this database; return its exit code and the tests that passed only alone.

    A search that found something is not run `again`: a new search would only find something else.
    """
    _say(f"== {_TITLES[database]}")
    with ExitStack() as stack:
        environment = os.environ | {"DATABASE": database}
        if database == "postgres":
            environment |= stack.enter_context(servers.postgres())
            environment |= stack.enter_context(servers.redis_server())
        _last_failed().unlink(missing_ok=True)
        code = _pytest(arguments, environment)
        failed = sorted(json.loads(_last_failed().read_text())) if code == _FAILED else []
        if again and 0 < len(failed) <= _MAY_BE_UNSTABLE:
            _say(f"== {len(failed)} failed; once more, alone")
            code = _pytest([*arguments, "--last-failed", "-n", "0"], environment)
    return code, failed if code == 0 else []


def _pytest(arguments: list[str], environment: dict[str, str]) -> int:
    command = [sys.executable, "-m", "pytest", "-o", f"cache_dir={_CACHE}", *arguments]
    return subprocess.run(command, env=environment, cwd=servers.ROOT).returncode


def _last_failed() -> Path:
    return servers.ROOT / _CACHE / "v/cache/lastfailed"


def _end_orphans() -> list[str]:
    """End whatever became this process's child and does not end itself; return its command."""
    give_up_at = time.monotonic() + _SECONDS_TO_END
    while _living_children() and time.monotonic() < give_up_at:
        time.sleep(0.1)
    ended = []
    for pid in _children():
        command = Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode().strip()
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        if command:
            ended.append(f"{pid} {command}")
    return ended


def _living_children() -> list[int]:
    with suppress(ChildProcessError):
        while os.waitpid(-1, os.WNOHANG) != (0, 0):
            pass
    return _children()


def _children() -> list[int]:
    return [int(pid) for pid in Path(f"/proc/self/task/{os.getpid()}/children").read_text().split()]


if __name__ == "__main__":
    sys.exit(main())
