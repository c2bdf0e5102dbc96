"""Keeps the programs of the service running on one machine: web server, two workers, beat.

`manage.py serve` becomes this process once everything is prepared. It knows no Django, so that it
stays small: `python -m config.supervisor --port 8000 [--certificate FILE --key FILE --ca FILE]`.
"""

import argparse
import ctypes
import http.client
import os
import signal
import ssl
import subprocess
import sys
import threading
import time
from contextlib import suppress
from dataclasses import dataclass, field
from http import HTTPStatus
from types import FrameType

STOP_SECONDS = 25.0
LONGEST_DELAY = 60.0
STEADY_SECONDS = 60.0
MOST_FIRST_FAILURES = 3
_PR_SET_PDEATHSIG = 1
_libc = ctypes.CDLL(None)


@dataclass(slots=True)
class Program:
    """A program that is to run all the time, and when it may be started again."""

    name: str
    command: list[str]
    process: "subprocess.Popen[str] | None" = None
    started_at: float = 0.0
    not_before: float = 0.0
    failures: int = 0

    def start(self, now: float) -> None:
        """Start it in a session of its own, its output prefixed with its name."""
        self.started_at = now
        self.process = subprocess.Popen(  # noqa: S603
            self.command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            start_new_session=True,
            preexec_fn=_die_with_parent,
        )
        threading.Thread(target=_copy_output, args=(self.name, self.process), daemon=True).start()

    def is_running(self) -> bool:
        """Whether its process lives."""
        return self.process is not None and self.process.poll() is None

    def note_end(self, now: float) -> float:
        """Clear up after its process; return the seconds to wait before the next start."""
        self.end(signal.SIGKILL)
        self.process = None
        self.failures = 1 if now - self.started_at > STEADY_SECONDS else self.failures + 1
        delay = min(LONGEST_DELAY, 2.0 ** (self.failures - 1) - 0.9)
        self.not_before = now + delay
        return delay

    def end(self, by: signal.Signals) -> None:
        """Send a signal: TERM to its process, KILL to everything in its session."""
        if self.process is None:
            return
        with suppress(ProcessLookupError):
            if by == signal.SIGKILL:
                os.killpg(self.process.pid, by)
            else:
                self.process.send_signal(by)


@dataclass(slots=True)
class Supervisor:
    """Starts the web server, the background programs once it answers, and restarts the dead."""

    web: Program
    background: list[Program]
    port: int
    ready_lines: list[str]
    tls: ssl.SSLContext | None = None
    is_ready: bool = False
    signals: int = 0
    wake: threading.Event = field(default_factory=threading.Event)

    def run(self) -> int:
        """Run until SIGTERM or SIGINT; return 0, or 1 when the web server does not come up."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._on_signal)
        code = 0
        while not self.signals:
            if not self._keep_running():
                code = 1
                break
            self.wake.wait(0.2)
        self._stop()
        return code

    def _keep_running(self) -> bool:
        now = time.monotonic()
        for program in [self.web, *self.background] if self.is_ready else [self.web]:
            if program.process is not None and not program.is_running():
                code = program.process.returncode
                delay = program.note_end(now)
                _say("serve", f"{program.name} ended with {code}; again in {delay:.1f} s")
            if program.process is None and now >= program.not_before:
                program.start(now)
        if not self.is_ready:
            if self.web.failures >= MOST_FIRST_FAILURES:
                _say("serve", "the web server does not start; the lines above say why")
                return False
            if self._answers():
                self.is_ready = True
                for line in self.ready_lines:
                    _say("serve", line)
        return True

    def _answers(self) -> bool:
        address = ("localhost", self.port)
        connection = (
            http.client.HTTPSConnection(*address, timeout=2, context=self.tls)
            if self.tls
            else http.client.HTTPConnection(*address, timeout=2)
        )
        try:
            connection.request("GET", "/healthz")
            return connection.getresponse().status == HTTPStatus.OK
        except (OSError, http.client.HTTPException):
            return False
        finally:
            connection.close()

    def _on_signal(self, _number: int, _frame: FrameType | None) -> None:
        self.signals += 1
        self.wake.set()

    def _stop(self) -> None:
        _say("serve", "stopping")
        programs = [*reversed(self.background), self.web]
        for program in programs:
            program.end(signal.SIGTERM)
        give_up_at = time.monotonic() + STOP_SECONDS
        # A second signal means: now.
        asked = self.signals
        while any(program.is_running() for program in programs):
            if time.monotonic() > give_up_at or self.signals > max(asked, 1):
                _say("serve", "ending by force what still runs")
                break
            self.wake.clear()
            self.wake.wait(0.1)
        for program in programs:
            program.end(signal.SIGKILL)
            if program.process is not None:
                program.process.wait()
        _say("serve", "stopped")


def main() -> int:
    """Read the arguments and supervise."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--host", default="127.0.0.1")
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--certificate")
    parser.add_argument("--key")
    parser.add_argument("--ca")
    parser.add_argument("--ready", action="append", default=[], help="a line to print when ready")
    options = parser.parse_args()
    tls = ssl.create_default_context(cafile=options.ca) if options.ca else None
    return Supervisor(
        web=Program(
            "web", web_command(options.host, options.port, options.certificate, options.key)
        ),
        background=[
            Program("quick", worker_command("quick", "interactive")),
            Program(
                "long", worker_command("long", "reports,planning,bulk", processes=_side_by_side())
            ),
            Program("beat", beat_command()),
        ],
        port=options.port,
        ready_lines=options.ready,
        tls=tls,
    ).run()


def _side_by_side() -> int:
    # SQLite takes one writer at a time.
    on_sqlite = os.environ.get("DATABASE_URL", "sqlite:").startswith("sqlite:")
    return 1 if on_sqlite else os.cpu_count() or 1


def web_command(
    host: str, port: int, certificate: str | None = None, key: str | None = None
) -> list[str]:
    """Return the command of the web server."""
    command = [sys.executable, "-m", "gunicorn", "config.wsgi:application"]
    command += ["--config", "python:config.web_server"]
    command += ["--bind", f"{host}:{port}", "--workers", "2", "--threads", "4", "--preload"]
    command += ["--worker-class", "gthread", "--no-control-socket", "--graceful-timeout", "20"]
    command += ["--timeout", "60", "--log-level", "warning"]
    if certificate and key:
        command += ["--certfile", certificate, "--keyfile", key]
    return command


def worker_command(
    name: str,
    queues: str,
    *,
    processes: int = 1,
    log_level: str = "WARNING",
    pool: str = "prefork",
) -> list[str]:
    """Return the command of a worker for these queues, with so many processes of its own."""
    command = [sys.executable, "-m", "celery", "-q", "-A", "config", "worker", "-n", f"{name}@%h"]
    command += ["-Q", queues, "-c", str(processes), "-P", pool, "-l", log_level]
    return [*command, "--without-gossip", "--without-mingle", "--without-heartbeat"]


def beat_command() -> list[str]:
    """Return the command of the clock."""
    command = [sys.executable, "-m", "celery", "-q", "-A", "config", "beat"]
    return [*command, "--pidfile=", "-l", "WARNING"]


def _die_with_parent() -> None:
    _libc.prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)


def _copy_output(name: str, process: "subprocess.Popen[str]") -> None:
    if process.stdout is None:
        return
    for line in process.stdout:
        if text := line.rstrip():
            _say(name, text)


def _say(name: str, line: str) -> None:
    sys.stdout.write(f"{name:<5} | {line}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
