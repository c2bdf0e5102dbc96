"""What all tests share: options, databases, real servers and the browser."""

import gc
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.utils import translation
from hypothesis import HealthCheck
from hypothesis import settings as searching
from playwright.sync_api import Browser, ConsoleMessage, Page, expect, sync_playwright
from xdist.scheduler import LoadScopeScheduling

from config import supervisor
from tests import databases, servers

# Playwright's synchronous interface runs an event loop in this thread; the ORM is used beside it.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

pytest_plugins = ["tests.scene"]

USES_DATABASE = {"db", "transactional_db", "committed_database", "django_db_setup", "installation"}
USES_SERVERS = {"live", "worker", "browser"}
# Where the tests stand that use them.
WITH_SERVERS = (
    "tests/browser/",
    "tests/config/test_broker.py",
    "tests/config/test_live.py",
    "tests/inspections/hydraulics/test_riser_module.py",
    "tests/inspections/sequence/test_compiled.py",
    "tests/inspections/test_criteria.py",
    "tests/load/bench_tablet.py",
)
# Long, so that a busy machine fails nothing; what comes at once waits for nothing.
PATIENCE_MS = 60_000
COMMITTED = f"committed_{os.environ.get('PYTEST_XDIST_WORKER', 'main')}"
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

searching.register_profile(
    "test",
    max_examples=60,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
searching.register_profile("fuzz", parent=searching.get_profile("test"), max_examples=10_000)


def pytest_addoption(parser: pytest.Parser) -> None:
    ours = parser.getgroup("maindrain")
    ours.addoption("--published", type=Path, metavar="DIR", help="other CSV files of checks")
    ours.addoption("--valve-scenarios", type=Path, metavar="FILE", help="other valve scenarios")
    ours.addoption("--applicable", type=Path, metavar="DIR", help="another inventory and its CSVs")
    ours.addoption("--fuzz", action="store_true", help="run the tests marked fuzz, searching long")
    ours.addoption(
        "--only-database", action="store_true", help="leave out what no database can change"
    )


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "fuzz: searches further under `make fuzz`")
    config.addinivalue_line(
        "markers",
        "once: costs much and hangs on no database, such as what a tablet does with its own",
    )
    searching.load_profile("fuzz" if config.getoption("fuzz") else "test")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    wanted = [item for item in items if _is_wanted(config, item)]
    config.hook.pytest_deselected(items=[item for item in items if item not in wanted])
    items[:] = wanted
    for item in items:
        uses = USES_SERVERS & set(getattr(item, "fixturenames", ()))
        if uses and not item.nodeid.startswith(WITH_SERVERS):
            raise pytest.UsageError(f"{item.nodeid} uses {uses}: name its file in WITH_SERVERS")


class ServersFirst(LoadScopeScheduling):
    """One worker starts the servers and the browser, and begins with them; all share the rest."""

    def _split_scope(self, nodeid: str) -> str:
        return "servers" if nodeid.startswith(WITH_SERVERS) else nodeid


def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> ServersFirst:
    return ServersFirst(config, log)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_teardown() -> Iterator[None]:
    # A request leaves its language to the thread; the next test is to find the usual one.
    translation.deactivate()
    return (yield)


def pytest_collection_finish() -> None:
    # What is loaded and collected stays to the end: the search for cycles need not pass it, and
    # what a test leaves behind can wait for a while.
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 50)


def _is_wanted(config: pytest.Config, item: pytest.Item) -> bool:
    if config.getoption("fuzz") and item.get_closest_marker("fuzz") is None:
        return False
    if config.getoption("only_database"):
        if item.get_closest_marker("once"):
            return False
        needs = USES_DATABASE | USES_SERVERS - {"browser"}
        return bool(
            item.get_closest_marker("django_db") or needs & set(getattr(item, "fixturenames", ()))
        )
    return True


@pytest.fixture(scope="session")
def django_db_setup(django_test_environment: None, django_db_blocker: Any) -> Iterator[None]:
    """The worker's own databases: an empty one, and those where contractors stand already."""
    from django.db import connections

    from tests import scene  # a plugin, which pytest has to import first

    of_first_test = connections.settings["default"]["NAME"]
    with django_db_blocker.unblock():
        for scenes in scene.STANDING:
            databases.clone(_database_of(scenes))
            _enter(_database_of(scenes))
            scene.stand(scenes)
        connections.close_all()
        connections.settings["default"]["NAME"] = of_first_test
    yield
    with django_db_blocker.unblock():
        connections.close_all()
    for scenes in scene.STANDING:
        databases.drop(_database_of(scenes))


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    from tests import scene

    names = getattr(item, "fixturenames", ())
    if "db" in names or item.get_closest_marker("django_db"):
        _enter(_database_of(scene.wanted_by(names)))


def _database_of(scenes: tuple[str, ...]) -> str:
    return "_".join(("test", os.environ.get("PYTEST_XDIST_WORKER", "main"), *scenes))


def _enter(name: str) -> None:
    """Connect to this database from now on."""
    from django.db import connections

    where = name if databases.on_postgres() else str(databases.sqlite_file(name))
    settings = connections.settings["default"]
    if settings["NAME"] != where:
        connections["default"].close()
        settings["NAME"] = where


@pytest.fixture
def committed_database(
    request: pytest.FixtureRequest, django_test_environment: None, django_db_blocker: Any
) -> Iterator[None]:
    """A fresh database of this one test, whose rows other processes see once they are committed."""
    if "db" in request.fixturenames or request.node.get_closest_marker("django_db"):
        pytest.fail("committed_database stands alone: its rows are committed, those of db are not")
    from django.db import connections

    with django_db_blocker.unblock():
        connections.close_all()
        databases.clone(COMMITTED)
        _enter(COMMITTED)
        with pytest.MonkeyPatch.context() as patched:
            if not USES_SERVERS & set(request.fixturenames):
                # A worker that another test started over this database would do its jobs.
                patched.setattr("contractors.outbox.wake", lambda message: None)
            yield
        connections.close_all()
        _enter(_database_of(()))
    databases.drop(COMMITTED)


@pytest.fixture(scope="session")
def web_server() -> Iterator[tuple[servers.Server, str]]:
    port = servers.free_port()
    server = servers.Server(
        "web",
        supervisor.web_command("127.0.0.1", port),
        folder=Path(os.environ["DATA_DIR"]),
        environment=_of_committed_database(),
    )
    server.wait(lambda: servers.answers(port))
    yield server, f"http://localhost:{port}"
    server.stop()


@pytest.fixture(scope="session")
def web_process(web_server: tuple[servers.Server, str]) -> str:
    return web_server[1]


@pytest.fixture(scope="session")
def worker_process() -> Iterator[servers.Server]:
    server = servers.Server(
        "worker",
        supervisor.worker_command(
            "all", "interactive,reports,planning,bulk", log_level="INFO", pool="threads"
        ),
        folder=Path(os.environ["DATA_DIR"]),
        environment=_of_committed_database(),
    )
    server.wait(lambda: " ready." in server.log())
    yield server
    server.stop()


def _of_committed_database() -> dict[str, str]:
    return {"TEST_DATABASE": COMMITTED, "DJANGO_SETTINGS_MODULE": "config.settings_test"}


@pytest.fixture
def live(committed_database: None, web_process: str) -> str:
    """Address of a real web server over the committed database."""
    return web_process


@pytest.fixture
def worker(committed_database: None, worker_process: servers.Server) -> servers.Server:
    """A real Celery worker over the committed database; on SQLite by files, else by Redis."""
    return worker_process


def chromium_options() -> dict[str, Any]:
    """Return how a Chromium is started here: the installed one, where there is one."""
    installed = Path("/usr/bin/chromium")
    path = installed if installed.exists() else None
    return {"executable_path": path, "args": CHROMIUM_ARGUMENTS}


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A real Chromium."""
    with sync_playwright() as playwright:
        expect.set_options(timeout=PATIENCE_MS)
        chromium = playwright.chromium.launch(**chromium_options())
        yield chromium
        chromium.close()


@pytest.fixture
def open_page(browser: Browser, live: str) -> Iterator[Callable[..., Page]]:
    """Return a maker of pages, each a browser of its own, signed in as whoever is given.

    `open_page(door, **context)`: a membership, an owner's access or None; further arguments are
    Playwright's for a context, such as `viewport`. An error in a page's console fails the test.
    """
    contexts = []
    errors: list[str] = []

    def note(message: ConsoleMessage) -> None:
        # A request that fails is the test's own doing, cut off or refused.
        if message.type == "error" and not message.text.startswith("Failed to load resource"):
            errors.append(message.text)

    def open_one(door: Any = None, **options: Any) -> Page:
        # What a service worker fetches, a test cannot cut off or hold up.
        options = {"service_workers": "block"} | options
        context = browser.new_context(base_url=live, **options)
        context.set_default_timeout(PATIENCE_MS)
        contexts.append(context)
        if door is not None:
            context.add_cookies([{"name": "sessionid", "value": session_of(door), "url": live}])
        page = context.new_page()
        page.on("console", note)
        page.on("pageerror", lambda error: errors.append(str(error)))
        return page

    yield open_one
    for context in contexts:
        context.close()
    assert errors == []


def session_of(door: Any) -> str:
    """Return the key of a new session of this membership or owner's access."""
    from django.test import Client

    client = Client()
    client.force_login(door.user)
    session = client.session
    session["door"] = str(door.pk)
    session.save()
    return session.session_key
