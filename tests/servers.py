"""Real servers for tests: each a child process with its own log, stopped with all it started."""

import ctypes
import os
import pwd
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import psycopg
import redis

ROOT = Path(__file__).parent.parent
SCHEMA_ROLE, APP_ROLE, BACKUP_ROLE = "maindrain_schema", "maindrain_app", "maindrain_backup"
_PORTS = range(15_000, 32_000)
_PR_SET_PDEATHSIG = 1
_libc = ctypes.CDLL(None)


def free_port() -> int:
    """Return a port of the loopback that nothing listens on.

    It lies below those that outgoing connections get by themselves, so that none takes it before
    its server does.
    """
    while True:
        port = secrets.randbelow(_PORTS.stop - _PORTS.start) + _PORTS.start
        with suppress(OSError), socket.socket() as probe:
            probe.bind(("127.0.0.1", port))
            return port


def until(holds: Callable[[], bool], *, seconds: float = 120.0, what: str = "it") -> None:
    """Return as soon as `holds()` is true; raise TimeoutError naming `what` when it does not."""
    give_up_at = time.monotonic() + seconds
    while not holds():
        if time.monotonic() > give_up_at:
            raise TimeoutError(f"{what} did not come about within {seconds} s")
        time.sleep(0.05)


class Server:
    """A child process in a session of its own; it dies with the process that started it."""

    def __init__(
        self,
        name: str,
        command: list[str | Path],
        *,
        folder: Path,
        environment: dict[str, str] | None = None,
        user: str | None = None,
        stop_by: signal.Signals = signal.SIGTERM,
    ):
        self.name = name
        self.stop_by = stop_by
        self.log_file = folder / f"{name}.log"
        with self.log_file.open("ab") as log:
            self.process = subprocess.Popen(
                [str(part) for part in command],
                cwd=ROOT if user is None else folder,
                env=os.environ | (environment or {}),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                user=user,
                group=user and pwd.getpwnam(user).pw_gid,
                extra_groups=[] if user else None,
                preexec_fn=_die_with_parent,
            )

    def log(self) -> str:
        """Return what the process has written so far."""
        return self.log_file.read_text(errors="replace")

    def wait(self, ready: Callable[[], bool], *, seconds: float = 240.0) -> None:
        """Return once `ready()`; raise RuntimeError with the log when the process ends first."""

        def is_ready() -> bool:
            if self.process.poll() is not None:
                raise RuntimeError(
                    f"{self.name} ended with {self.process.returncode}:\n{self.log()}"
                )
            return ready()

        try:
            until(is_ready, seconds=seconds, what=f"{self.name} ready")
        except TimeoutError as error:
            self.stop()
            raise RuntimeError(f"{error}:\n{self.log()}") from error

    def crash_children(self) -> None:
        """Kill what the process has started at once, as a crash does; it starts others."""
        pid = self.process.pid
        for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
            os.kill(int(child), signal.SIGKILL)

    def stop(self, *, seconds: float = 20.0) -> int:
        """End the process, by force if need be, with its whole session; return its exit code."""
        if self.process.poll() is None:
            self.process.send_signal(self.stop_by)
        with suppress(subprocess.TimeoutExpired):
            self.process.wait(seconds)
        with suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        return self.process.wait()


def answers(port: int) -> bool:
    """Whether something listens on this port of the loopback."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


@contextmanager
def postgres() -> Iterator[dict[str, str]]:
    """Run a private PostgreSQL with the three roles; yield the environment that names it."""
    programs = _postgres_programs()
    # PostgreSQL refuses to run as root; its packages bring a user for it.
    user = "postgres" if os.geteuid() == 0 else None
    with tempfile.TemporaryDirectory(prefix="maindrain-postgres-") as name:
        folder = Path(name)
        if user:
            shutil.chown(folder, user, pwd.getpwnam(user).pw_gid)
        initdb = [programs / "initdb", "-D", folder / "data", "--username=postgres"]
        initdb += ["--auth=trust", "--no-sync", "--encoding=UTF8", "--locale=C.UTF-8"]
        _quietly(initdb, user=user, folder=folder)
        port = free_port()
        settings = {
            "listen_addresses": "127.0.0.1", "port": port, "unix_socket_directories": "",
            "fsync": "off", "synchronous_commit": "off", "full_page_writes": "off",
            "max_connections": 100, "autovacuum": "off",
        }  # fmt: skip
        options = [part for name, value in settings.items() for part in ("-c", f"{name}={value}")]
        server = Server(
            "postgres",
            [programs / "postgres", "-D", folder / "data", *options],
            folder=folder,
            user=user,
            stop_by=signal.SIGINT,
        )
        try:
            address = f"postgres://postgres@127.0.0.1:{port}/postgres"
            server.wait(lambda: _accepts(address))
            _make_roles(address)
            yield {
                "DATABASE_URL": f"postgres://{APP_ROLE}@127.0.0.1:{port}/postgres",
                "SCHEMA_DATABASE_URL": f"postgres://{SCHEMA_ROLE}@127.0.0.1:{port}/postgres",
            }
        finally:
            server.stop()


@contextmanager
def redis_server() -> Iterator[dict[str, str]]:
    """Run a private Redis; yield the environment that names it."""
    with tempfile.TemporaryDirectory(prefix="maindrain-redis-") as name:
        port = free_port()
        server = Server(
            "redis",
            ["redis-server", "--port", str(port), "--bind", "127.0.0.1", "--dir", name,
             "--save", "", "--appendonly", "no", "--maxmemory-policy", "noeviction"],
            folder=Path(name),
        )  # fmt: skip
        try:
            server.wait(lambda: answers(port) and bool(redis.Redis(port=port).ping()))
            yield {"TEST_REDIS_URL": f"redis://127.0.0.1:{port}"}
        finally:
            server.stop()


def python(*arguments: str) -> list[str]:
    """Return the command that runs this interpreter with these arguments."""
    return [sys.executable, *arguments]


def _die_with_parent() -> None:
    _libc.prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)


def _postgres_programs() -> Path:
    found = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[4])
    )
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    if on_path is None:
        raise RuntimeError("PostgreSQL's initdb was not found; `make setup-test` installs it")
    return Path(on_path).parent


def _quietly(command: list[str | Path], *, user: str | None, folder: Path) -> None:
    done = subprocess.run(command, user=user, cwd=folder, capture_output=True, text=True)
    if done.returncode != 0:
        raise RuntimeError(f"{command[0]} failed:\n{done.stdout}{done.stderr}")


def _accepts(address: str) -> bool:
    try:
        psycopg.connect(address, connect_timeout=2).close()
    except psycopg.OperationalError:
        return False
    return True


def _make_roles(address: str) -> None:
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(f"CREATE ROLE {SCHEMA_ROLE} LOGIN BYPASSRLS CREATEDB")
        # So that it may drop a database that a server under test is still connected to.
        connection.execute(f"GRANT pg_signal_backend TO {SCHEMA_ROLE}")
        connection.execute(f"CREATE ROLE {APP_ROLE} LOGIN")
        connection.execute(f"CREATE ROLE {BACKUP_ROLE} LOGIN BYPASSRLS")
