"""Calls at the same moment, as two tablets or two schedulers make them."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from django.db import connections


def at_once(*calls):
    """Make all calls at the same moment, each with a connection of its own."""
    ready = Barrier(len(calls))

    def run(call):
        ready.wait(timeout=120)
        try:
            return call()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(calls)) as pool:
        return list(pool.map(run, calls))
