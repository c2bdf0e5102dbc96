"""Databases of a test run: one migrated template a run, cheap clones of it for everything else.

On SQLite a database is a file beside the other data of the pytest worker, under a name of its own
each time and reached by a link, so that no process waits for another. On PostgreSQL the schema
role makes and drops them, the tests connect as the application's plain role.
"""

import fcntl
import hashlib
import os
import shutil
import subprocess
from pathlib import Path
from uuid import uuid4

import psycopg
from psycopg import sql

from tests import servers

TEMPLATE = "template"


def on_postgres() -> bool:
    """Whether this run is on PostgreSQL."""
    return os.environ.get("DATABASE", "sqlite") == "postgres"


def clone(name: str) -> None:
    """Make the database `name` anew as a copy of the template, migrated first if need be."""
    _make_template()
    drop(name)
    if on_postgres():
        _as_schema(
            sql.SQL("CREATE DATABASE {} TEMPLATE {}").format(
                sql.Identifier(name), sql.Identifier(_template_name())
            )
        )
    else:
        link = sqlite_file(name)
        file = link.with_name(f"{name}-{uuid4().hex}.sqlite3")
        shutil.copyfile(_run_folder() / f"{TEMPLATE}.sqlite3", file)
        # A process that lets the last database of this name go only now removes that one's log;
        # one that opened the name in between has made a file there, which the link replaces.
        fresh = file.with_suffix(".link")
        fresh.symlink_to(file.name)
        fresh.replace(link)


def drop(name: str) -> None:
    """Remove the database `name`, whoever is still connected to it."""
    if on_postgres():
        _as_schema(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(name)))
    else:
        link = sqlite_file(name)
        for file in {link, link.resolve()}:
            for suffix in ("", "-wal", "-shm"):
                Path(f"{file}{suffix}").unlink(missing_ok=True)


def sqlite_file(name: str) -> Path:
    """Return the file of the SQLite database `name` of this pytest worker."""
    return Path(os.environ["DATA_DIR"]) / f"{name}.sqlite3"


def _run_folder() -> Path:
    return Path(os.environ["TEST_RUN_DIR"])


def _template_name() -> str:
    # Several runs may share one server, one after the other.
    return f"{TEMPLATE}_{_run_folder().name}"


def _make_template() -> None:
    done = _run_folder() / f"{TEMPLATE}.done"
    with (_run_folder() / f"{TEMPLATE}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if done.exists():
            return
        if on_postgres():
            _make_postgres_template()
        else:
            _make_sqlite_template()
        done.touch()


def _make_sqlite_template() -> None:
    """Take the last run's where no migration and nothing that one calls has changed since."""
    kept = servers.ROOT / ".pytest_cache" / f"{TEMPLATE}-{_migrations_digest()}.sqlite3"
    if not kept.exists():
        _migrate(TEMPLATE)
        kept.parent.mkdir(exist_ok=True)
        for outdated in kept.parent.glob(f"{TEMPLATE}-*"):
            outdated.unlink(missing_ok=True)
        whole = kept.with_name(f"{kept.name}.{os.getpid()}")
        shutil.move(sqlite_file(TEMPLATE), whole)
        whole.replace(kept)
    shutil.copyfile(kept, _run_folder() / f"{TEMPLATE}.sqlite3")


def _migrations_digest() -> str:
    files = [*servers.ROOT.glob("*/migrations/*.py"), *servers.ROOT.glob("contractors/**/*.py")]
    digest = hashlib.sha256(servers.ROOT.joinpath("requirements.lock").read_bytes())
    for file in sorted(set(files)):
        digest.update(file.read_bytes())
    return digest.hexdigest()[:16]


def _make_postgres_template() -> None:
    name = _template_name()
    drop(name)
    _as_schema(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
    for statement in (
        f"GRANT USAGE ON SCHEMA public TO {servers.APP_ROLE}, {servers.BACKUP_ROLE}",
        "ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES"
        f" TO {servers.APP_ROLE}",
        "ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT USAGE, SELECT ON SEQUENCES"
        f" TO {servers.APP_ROLE}",
        "ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT ON TABLES"
        f" TO {servers.BACKUP_ROLE}",
    ):
        _as_schema(sql.SQL(statement), database=name)
    _migrate(name)


def _migrate(name: str) -> None:
    environment = os.environ | {
        "TEST_DATABASE": name,
        "DJANGO_SETTINGS_MODULE": "config.settings_test",
    }
    done = subprocess.run(
        servers.python("manage.py", "migrate", "--verbosity=0"),
        cwd=servers.ROOT,
        env=environment,
        capture_output=True,
        text=True,
    )
    if done.returncode != 0:
        raise RuntimeError(f"migrate failed:\n{done.stdout}{done.stderr}")


def _as_schema(statement: sql.Composable, *, database: str = "postgres") -> None:
    server = os.environ["SCHEMA_DATABASE_URL"].rpartition("/")[0]
    with psycopg.connect(f"{server}/{database}", autocommit=True) as connection:
        connection.execute(statement)
