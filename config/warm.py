"""Loads what takes seconds to load where a process begins to serve, so that no user waits for it.

Commands do not: they load a library when they come to need it.
"""

import gc
from importlib import import_module

LIBRARIES = ("scipy.stats", "inspections.pictures.history", "inspections.typeset")
"""Statistics of trends, drawing, and the layout of PDFs."""
PAGES = "config.urls"
CATALOGUE = "inspections.catalogue_files"


def warm(*more: str) -> None:
    """Load the libraries, more modules, and the catalogue; all of it is shared by what is forked.

    Collections of garbage need not look at it from then on, nor copy it.
    """
    for name in (*LIBRARIES, *more):
        import_module(name)
    import_module(CATALOGUE).versions()
    gc.collect()
    gc.freeze()
