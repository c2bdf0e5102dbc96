"""`manage.py serve` for real: on a port of its own, over a data folder of its own."""

import fcntl
import os
import signal
import socket
import subprocess
import urllib.request
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tests import databases, servers

# Long enough for two busy cores to prepare an empty data folder.
PATIENCE = 240.0
INSTALLED = f"installed_{os.environ.get('PYTEST_XDIST_WORKER', 'main')}"


@pytest.fixture
def empty(tmp_path):
    """Environment of an installation in which nothing is prepared yet."""
    return {
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "DATA_DIR": str(tmp_path),
        "STATIC_ROOT": str(tmp_path / "static"),
        "DATABASE_URL": f"sqlite:///{tmp_path}/maindrain.sqlite3",
        "SCHEMA_DATABASE_URL": "",
        "PORT": str(servers.free_port()),
    }


@pytest.fixture
def installation(empty, tmp_path):
    """Environment of an installation whose database is prepared and holds a contractor."""
    databases.clone(INSTALLED)
    environment = dict(empty)
    if databases.on_postgres():
        for name in ("DATABASE_URL", "SCHEMA_DATABASE_URL"):
            environment[name] = f"{os.environ[name].rpartition('/')[0]}/{INSTALLED}"
    else:
        databases.sqlite_file(INSTALLED).resolve().rename(tmp_path / "maindrain.sqlite3")
    manage(
        environment,
        "shell",
        "-c",
        "from contractors.models import Contractor;"
        "Contractor.objects.create(code='northbank', name='Northbank Fire Protection')",
    )
    yield environment
    databases.drop(INSTALLED)


def manage(environment, *arguments, expected=0):
    done = subprocess.run(
        servers.python("manage.py", *arguments),
        env=os.environ | environment,
        cwd=servers.ROOT,
        capture_output=True,
        text=True,
    )
    assert done.returncode == expected, done.stdout + done.stderr
    return done.stdout + done.stderr


def start(environment, *arguments):
    server = servers.Server(
        "serve",
        servers.python("manage.py", "serve", *arguments),
        folder=Path(environment["DATA_DIR"]),
        environment=environment,
    )
    server.wait(lambda: "ready: " in server.log(), seconds=PATIENCE)
    return server


def programs(server):
    """Return name and process id of the running programs of the service."""
    found = {}
    for pid in children(server.process.pid):
        try:
            command = Path(f"/proc/{pid}/cmdline").read_text().split("\0")
        except OSError:  # it ended since
            continue
        name = "web" if "gunicorn" in command else "beat" if "beat" in command else None
        if name is None and "-n" in command:
            name = command[command.index("-n") + 1].partition("@")[0]
        if name:
            found[name] = pid
    return found


def changed(before, now):
    """Return the names of programs that are others now; None while one is missing."""
    if set(now) != set(before):
        return None
    return {name for name in now if now[name] != before[name]}


def children(pid):
    try:
        return [
            int(child)
            for task in Path(f"/proc/{pid}/task").iterdir()
            for child in (task / "children").read_text().split()
        ]
    except OSError:
        return []


def family(pid):
    return [pid, *(member for child in children(pid) for member in family(child))]


def is_alive(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def health(environment):
    address = f"http://localhost:{environment['PORT']}/healthz"
    with urllib.request.urlopen(address, timeout=20) as answer:
        return answer.status


def is_healthy(environment):
    try:
        return health(environment) == 200
    except OSError:  # a child of the killed server may still have taken the connection
        return False


def test_two_services_do_not_share_a_data_folder(empty, tmp_path):
    with (tmp_path / "serve.lock").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        said = manage(empty, "serve", expected=1)
    assert f"already runs on {tmp_path}" in said


@pytest.mark.once
def test_one_command_serves_restarts_what_dies_and_leaves_nothing_behind(installation):
    server = start(installation)
    try:
        assert health(installation) == 200
        servers.until(lambda: len(programs(server)) == 4, what="web, two workers and beat")
        before = programs(server)
        assert set(before) == {"web", "quick", "long", "beat"}

        for name in ("long", "web"):
            os.kill(before[name], signal.SIGKILL)
        servers.until(
            lambda: changed(before, programs(server)) == {"long", "web"},
            what="both killed programs started again",
        )
        servers.until(lambda: is_healthy(installation), what="the web server")

        everyone = family(server.process.pid)
        server.process.send_signal(signal.SIGTERM)
        assert server.process.wait(PATIENCE) == 0
        assert [pid for pid in everyone if is_alive(pid)] == []
    finally:
        server.stop()
    assert "loading the demonstration" not in server.log()
    assert "preparing the database" not in server.log()


def test_a_busy_port_is_named_in_one_line(empty):
    with socket.socket() as other:
        other.bind(("127.0.0.1", int(empty["PORT"])))
        other.listen()
        said = manage(empty, "serve", expected=1)
    assert f"Port {empty['PORT']} can't be used" in said
    assert len(said.strip().splitlines()) == 1


@pytest.mark.parametrize("port", ["eighty", "0", "65536", "-1"])
def test_a_port_that_is_none_is_refused_with_what_is_accepted(port, monkeypatch):
    monkeypatch.setenv("PORT", port)
    with pytest.raises(CommandError, match=rf"^PORT={port} is no port.*whole number, 1 to 65535"):
        call_command("serve")


def test_the_service_is_not_run_as_the_schema_role(installation):
    if not databases.on_postgres():
        assert "sqlite" in installation["DATABASE_URL"]
        return
    as_schema = {"DATABASE_URL": installation["SCHEMA_DATABASE_URL"]}
    said = manage(installation | as_schema, "serve", expected=1)
    assert f"DATABASE_URL connects as {servers.SCHEMA_ROLE}" in said
