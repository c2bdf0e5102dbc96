"""Heavy libraries are loaded where a process begins to serve, and nowhere else."""

import sys
from types import SimpleNamespace

import pytest
from celery.signals import worker_init
from gunicorn.app.wsgiapp import WSGIApplication

from config import celery, supervisor, warm, web_server

RULES = (warm.CATALOGUE, "its versions")


@pytest.fixture
def loaded(monkeypatch):
    """The modules that were asked for."""
    asked = []

    def load(name):
        asked.append(name)
        return SimpleNamespace(versions=lambda: asked.append("its versions"))

    monkeypatch.setattr(warm, "import_module", load)
    return asked


def begin(queues):
    """Let a worker of these queues begin as Celery does."""
    consume = SimpleNamespace(queues=SimpleNamespace(consume_from=dict.fromkeys(queues)))
    worker = type("Worker", (), {"app": SimpleNamespace(amqp=consume)})
    worker_init.send(sender=worker)


@pytest.mark.parametrize(
    ("queues", "expected"),
    [(celery.LONG_QUEUES, [*warm.LIBRARIES, *RULES]), (celery.QUICK_QUEUES, [])],
)
def test_a_worker_of_long_work_loads_them_before_it_forks(loaded, queues, expected):
    begin(queues)
    assert loaded == expected


def test_the_web_server_loads_them_before_its_workers(loaded, monkeypatch):
    command = supervisor.web_command("127.0.0.1", 8000)
    monkeypatch.setattr(sys, "argv", command[2:])
    settings = WSGIApplication("%(prog)s [OPTIONS]", prog="gunicorn").cfg
    assert settings.preload_app
    assert settings.when_ready is web_server.when_ready
    settings.when_ready(None)
    assert loaded == [*warm.LIBRARIES, warm.PAGES, *RULES]


def test_what_is_named_is_there_and_brings_the_libraries():
    warm.warm()
    assert {"scipy.stats", "matplotlib.figure", "weasyprint"} <= set(sys.modules)
