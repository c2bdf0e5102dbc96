"""Facts that rules rest on, said in the words of the dictionary of kinds."""

from functools import lru_cache

from buildings.kinds import FACTS_ONLY, Attribute, Kinds, ValueType, kinds
from inspections.conditions.facts import Fact, Origin

ITEM = "item"
_NAMES = {"edition": "Adopted edition", "subject": "Kind of item"}
_STANDARDS = {"nfpa25": "NFPA 25", "bs_en_12845": "BS EN 12845", "as_1851": "AS 1851"}


def label(name: str, kind: str) -> str:
    """Return what a fact is called: ``system.kind`` is "System, kind", ``item.kind`` is "Kind".

    Parameters
    ----------
    name
        As a condition writes it, such as ``item.access``.
    kind
        The kind of item that ``item.`` stands for.
    """
    if name in _NAMES:
        return _NAMES[name]
    scope, dot, attribute = name.partition(".")
    if not dot:
        return _spaced(name)
    row = _attribute(name, kind)
    told = row is not None and row.value_type is ValueType.TRUTH and row.meaning
    words = row.meaning if row is not None and told else attribute
    return _capital(words if scope == ITEM else f"{scope}, {words}")


def question(name: str, kind: str) -> str:
    """Return how a fact is asked for: the dictionary's question, or what the fact is called."""
    row = _attribute(name, kind)
    return row.question if row is not None and row.question else f"{label(name, kind)}?"


def value(fact: Fact) -> str:
    """Return a fact's value, and whether somebody said it."""
    match fact.origin:
        case Origin.MISSING:
            return "there is none"
        case Origin.UNKNOWN:
            return "not known"
        case Origin.DEFAULT:
            return f"assumed {_plain(fact.value)}"
        case Origin.GIVEN:
            return _plain(fact.value)


@lru_cache(maxsize=4096)
def said(fact: Fact, kind: str) -> str:
    """Return a fact with its value, such as "System, kind: dry"."""
    return f"{label(fact.name, kind)}: {value(fact)}"


def _attribute(name: str, kind: str) -> Attribute | None:
    scope, _dot, attribute = name.partition(".")
    known: Kinds = kinds()
    found = known.get(kind if scope == ITEM else scope)
    if found is None or found.name in FACTS_ONLY:
        return None
    return found.attributes.get(attribute)


def _plain(given: object) -> str:
    if isinstance(given, bool):
        return "yes" if given else "no"
    if isinstance(given, float) and given.is_integer():
        return f"{given:.0f}"
    text = str(given)
    return _STANDARDS.get(text, _spaced(text))


def _spaced(text: str) -> str:
    return text.replace("_", " ")


def _capital(text: str) -> str:
    spaced = _spaced(text)
    return spaced[:1].upper() + spaced[1:]
