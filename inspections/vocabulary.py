"""The names that the conditions of the catalogue may use, and their types."""

from collections.abc import Mapping

from buildings.kinds import Attribute, Kinds, ValueType
from inspections.conditions.compiled import LIMIT, TODAY
from inspections.conditions.facts import Kind, Shape
from inspections.conditions.units import PLAIN, SI_OF_MEASURE, UNITS, Unit

_SHAPES = {
    ValueType.TRUTH: Shape.TRUTH,
    ValueType.NUMBER: Shape.NUMBER,
    ValueType.INTEGER: Shape.NUMBER,
    ValueType.YEAR: Shape.NUMBER,
    ValueType.DATE: Shape.DATE,
    ValueType.CHOICE: Shape.WORD,
    ValueType.TEXT: Shape.WORD,
}
_PLAIN = Kind(Shape.NUMBER)
_WORD = Kind(Shape.WORD)
_TRUTH = Kind(Shape.TRUTH)
_MEASURED_WORDS = ("state", "text")

# The columns of an activity that a caution may ask about.
ACTIVITY_COLUMNS: Mapping[str, Kind] = {
    "group": _WORD,
    "water_flow": Kind(Shape.WORD, choices=("none", "little", "full")),
    "shuts_system": _TRUTH,
    "needs_station_on_test": _TRUTH,
    "people": _PLAIN,
    "qualification": _WORD,
    "season": _WORD,
}
# What the act itself says, when work on a part leads to a test.
ACT_FACTS: Mapping[str, Kind] = {"affected": _PLAIN, "from_stock": _TRUTH}


class ItemVocabulary:
    """Names for conditions on an item of equipment.

    Parameters
    ----------
    kinds
        The dictionary of kinds.
    subjects
        Kinds that ``item`` may be; an attribute must belong to at least one.
    limits
        Units of the limits, by name.
    more
        Further bare names.
    """

    def __init__(
        self,
        kinds: Kinds,
        subjects: tuple[str, ...],
        limits: Mapping[str, Unit],
        more: Mapping[str, Kind] | None = None,
    ) -> None:
        self.kinds = kinds
        self.subjects = subjects
        self.limits = limits
        self.more = more or {}

    def kind_of(self, name: str) -> Kind | None:
        """Return the type of a name, or None when there is none."""
        if name in self.more:
            return self.more[name]
        if name.startswith(LIMIT):
            unit = self.limits.get(name.removeprefix(LIMIT))
            return None if unit is None else Kind(Shape.NUMBER, unit)
        scope, dot, attribute = name.partition(".")
        if not dot:
            return self._bare(name)
        scopes = self.subjects if scope == "item" else (scope,)
        found = [
            self.kinds[kind].attributes[attribute]
            for kind in scopes
            if kind in self.kinds and attribute in self.kinds[kind].attributes
        ]
        return _joined(found) if found else None

    def _bare(self, name: str) -> Kind | None:
        if name == "subject":
            return Kind(Shape.WORD, choices=tuple(self.kinds))
        if name == "edition":
            return _PLAIN
        return Kind(Shape.DATE) if name == TODAY else None


class ReadingVocabulary(ItemVocabulary):
    """Names for criteria: those of the item, and the readings of the activity.

    Readings, ``baseline`` and ``last`` values are stored in SI; ``design`` values in the unit of
    the dictionary of kinds.
    """

    def __init__(
        self,
        kinds: Kinds,
        subjects: tuple[str, ...],
        limits: Mapping[str, Unit],
        readings: Mapping[str, str],
    ) -> None:
        super().__init__(kinds, subjects, limits)
        self.readings = readings

    def kind_of(self, name: str) -> Kind | None:
        """Return the type of a name, or None when there is none."""
        scope, dot, reading = name.partition(".")
        if not dot:
            return self._reading(name) or super().kind_of(name)
        if scope in ("baseline", "last"):
            of_baseline = self.kinds["baseline"].attributes.get(reading)
            if scope == "baseline" and of_baseline is not None:
                return Kind(Shape.NUMBER, Unit(UNITS[of_baseline.unit].dimension))
            return self._reading(reading)
        return super().kind_of(name)

    def _reading(self, name: str) -> Kind | None:
        of_state = self.kinds["reading"].attributes.get(name)
        measure = self.readings.get(name)
        if of_state is not None and measure in (*_MEASURED_WORDS, None):
            return attribute_kind(of_state)
        if measure is None:
            return None
        if measure in _MEASURED_WORDS:
            return _WORD
        if measure == "date":
            return Kind(Shape.DATE)
        return Kind(Shape.NUMBER, SI_OF_MEASURE[measure], year=measure == "year")


class PlainVocabulary:
    """A fixed list of names."""

    def __init__(self, names: Mapping[str, Kind]) -> None:
        self.names = names

    def kind_of(self, name: str) -> Kind | None:
        """Return the type of a name, or None when there is none."""
        return self.names.get(name)


def attribute_kind(attribute: Attribute) -> Kind:
    """Return the type that an attribute has in conditions."""
    unit = UNITS[attribute.unit] if attribute.unit else Unit(PLAIN)
    is_year = attribute.value_type is ValueType.YEAR
    return Kind(_SHAPES[attribute.value_type], unit, attribute.choices, year=is_year)


def _joined(attributes: list[Attribute]) -> Kind:
    found = {attribute_kind(attribute) for attribute in attributes}
    if len({(kind.shape, kind.unit, kind.year) for kind in found}) > 1:
        names = ", ".join(f"{one.kind}.{one.name}" for one in attributes)
        raise ValueError(f"{names} are of different types")
    first = next(iter(found))
    choices = dict.fromkeys(choice for kind in found for choice in kind.choices)
    return Kind(first.shape, first.unit, tuple(choices), first.year)
