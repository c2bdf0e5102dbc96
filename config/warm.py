"""Loads what takes seconds to load where a process begins to serve, so that no user waits for it.

Commands do not: they load a library when they come to need it.
"""

import gc
from importlib import import_module

LIBRARIES = ("scipy.stats", "inspections.pictures.history", "inspections.typeset")
"""Statistics of trends, drawing, and the layout of PDFs."""


def warm() -> None:
    """Load the libraries; what is loaded before a fork is shared by all that are forked."""
    for name in LIBRARIES:
        import_module(name)
    # All this stays for good: collections of garbage need not look at it, nor copy it.
    gc.freeze()
