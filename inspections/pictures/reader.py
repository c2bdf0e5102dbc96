"""For whom a picture is drawn: in which words, and on how wide a screen."""

from collections.abc import Mapping
from dataclasses import dataclass, field

VERSION = 3
"""Counts up when a picture of the same data looks different."""
WORDS = (
    "150 percent flow, at least",
    "95 percent of first curve",
    "as read",
    "churn, at most",
    "Day",
    "demand",
    "demand, with hose",
    "first curve",
    "flow",
    "Flow",
    "flow test",
    "if it goes on, 95 percent band",
    "margin",
    "Moment",
    "net pressure",
    "Net pressure",
    "not used",
    "Point",
    "pressure",
    "Pressure",
    "rated",
    "reading",
    "Reading",
    "Remark",
    "seconds from opening",
    "static",
    "supply",
    "supply at demand with hose",
    "Test",
    "tested",
    "tested, as read",
    "tested, at rated speed",
    "Time",
    "trend",
)
"""Every word that a picture or the table beneath it says by itself."""


@dataclass(frozen=True, slots=True)
class Reader:
    """Who looks at a picture.

    Attributes
    ----------
    words
        What stands for each of `WORDS` in the reader's language; a missing one stays English.
    is_narrow
        Whether it is seen on a telephone: half as wide, its letters as large.
    """

    words: Mapping[str, str] = field(default_factory=dict)
    is_narrow: bool = False

    def say(self, word: str) -> str:
        """Return one of the words in the reader's language."""
        return self.words.get(word, word)


ANYBODY = Reader()
"""Reads English on a wide sheet: a report."""
