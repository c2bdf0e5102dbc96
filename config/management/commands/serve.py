"""`manage.py serve`: prepares what is not yet prepared, then runs the whole service."""

import fcntl
import hashlib
import os
import signal
import socket
import subprocess
import sys
from pathlib import Path
from types import FrameType
from typing import Any

import segno
from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import get_commands
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from config import lan
from contractors.models import Contractor


class Command(BaseCommand):
    """Web pages, API, workers and clock in one command; Ctrl-C or SIGTERM stops them all."""

    help = "Serve pages and API with workers and beat. PORT and DATA_DIR may be set."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        """Add --lan."""
        parser.add_argument(
            "--lan",
            action="store_true",
            help="HTTPS for phones on the same network, by this installation's own authority",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Prepare, then become the supervisor, which knows no Django and stays small."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, _stop_preparing)
        host = "0.0.0.0" if options["lan"] else os.environ.get("HOST", "127.0.0.1")  # noqa: S104
        port = _port()
        _hold_data_folder()
        _require_free(host, port)
        _require_plain_role()
        self._migrate()
        self._collect_static_files()
        self._load_demo()
        arguments = ["--host", host, "--port", str(port)]
        arguments += self._lan(port) if options["lan"] else _plain(port)
        connection.close()
        self.stdout.write("starting")
        self.stdout.flush()
        os.chdir(settings.BASE_DIR)
        os.execv(sys.executable, [sys.executable, "-m", "config.supervisor", *arguments])  # noqa: S606

    def _migrate(self) -> None:
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            self.stdout.write("preparing the database")
            _run("migrate", "--verbosity", "0")
        connection.close()

    def _collect_static_files(self) -> None:
        stamp = settings.STATIC_ROOT / ".collected"
        digest = _static_digest()
        if not stamp.exists() or stamp.read_text() != digest:
            self.stdout.write("collecting static files")
            _run("collectstatic", "--noinput", "--clear", "--verbosity", "0")
            stamp.write_text(digest)

    def _load_demo(self) -> None:
        # The mark stays when loading was cut short, so that the next start takes it up again.
        mark = settings.DATA_DIR / "demo.loading"
        if "load_demo" not in get_commands():
            return
        if mark.exists() or not Contractor.objects.exists():
            self.stdout.write("loading the demonstration (first start only)")
            mark.touch()
            _run("load_demo")
            mark.unlink()

    def _lan(self, port: int) -> list[str]:
        hostname, addresses = socket.gethostname(), lan.addresses_here()
        folder = settings.DATA_DIR / "ca"
        leaf = lan.issue(folder, hostname=hostname, addresses=addresses, now=timezone.now())
        authority = lan.authority(folder)
        if not addresses:
            raise CommandError("--lan: this machine is in no network. Join one, then start again.")
        url = f"https://{addresses[0]}:{port}"
        segno.make(url).terminal(out=sys.stdout, compact=True)
        os.environ["HTTPS"] = "1"
        os.environ["ALLOWED_HOSTS"] = ",".join(
            ["localhost", "127.0.0.1", hostname, f"{hostname}.local", *map(str, addresses)]
        )
        lines = [
            f"ready: {url} for phones on this network (scan the code above)",
            f"once for each phone: open {url}/ca.crt, install it as a trusted certificate,",
            f"after comparing its SHA-256 fingerprint: {lan.fingerprint(authority.read())}",
        ]
        files = ["--certificate", leaf.certificate, "--key", leaf.key]
        files += ["--ca", authority.certificate]
        return [str(part) for part in files] + _ready(lines)


def _plain(port: int) -> list[str]:
    return _ready([f"ready: http://localhost:{port}"])


def _ready(lines: list[str]) -> list[str]:
    return [part for line in lines for part in ("--ready", line)]


def _port() -> int:
    text = os.environ.get("PORT") or "8000"
    if not (text.isdecimal() and 1 <= int(text) <= 65535):
        raise CommandError(f"PORT={text} is no port. Accepted: a whole number, 1 to 65535.")
    return int(text)


def _hold_data_folder() -> None:
    """Lock the data folder for as long as this process lives, through its change of program."""
    descriptor = os.open(settings.DATA_DIR / "serve.lock", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise CommandError(
            f"The service already runs on {settings.DATA_DIR}. Stop it, or set another DATA_DIR."
        ) from None
    os.set_inheritable(descriptor, True)


def _require_free(host: str, port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise CommandError(
                f"Port {port} can't be used ({error.strerror}). Set another: PORT=8080 make run"
            ) from None


def _require_plain_role() -> None:
    """Refuse a database role that the row policies do not bind."""
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT rolname, rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user"
        )
        role, is_unbound = cursor.fetchone()
    if is_unbound:
        raise CommandError(
            f"DATABASE_URL connects as {role}, which no row policy binds. Name the application's"
            " role there and this one in SCHEMA_DATABASE_URL (manage.py database_roles)."
        )


# The preparing command that runs now, and the signal that asked to stop: an exception out of a
# signal handler could leave the wait for the child locked for ever.
_preparing: list[int] = []
_asked_by: list[int] = []


def _stop_preparing(number: int, _frame: FrameType | None) -> None:
    _asked_by.append(number)
    for pid in _preparing:
        os.kill(pid, signal.SIGTERM)
    if not _preparing:
        sys.exit(128 + number)


def _run(*arguments: str) -> None:
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), *arguments]
    process = subprocess.Popen(command)  # noqa: S603
    _preparing.append(process.pid)
    code = process.wait()
    _preparing.clear()
    if _asked_by:
        sys.exit(128 + _asked_by[0])
    if code != 0:
        raise CommandError(f"manage.py {arguments[0]} failed; the lines above say why.")


def _static_digest() -> str:
    """Return a digest that changes whenever a static file does."""
    digest = hashlib.sha256(str(settings.STORAGES["staticfiles"]).encode())
    for finder in get_finders():
        for path, storage in finder.list([]):
            file = Path(storage.path(path)).stat()
            digest.update(f"{path} {file.st_size} {file.st_mtime_ns}\n".encode())
    return digest.hexdigest()
