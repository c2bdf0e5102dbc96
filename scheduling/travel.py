"""Travel between places: rows of a matrix, estimated from coordinates."""

from dataclasses import dataclass, field
from typing import Any

from scheduling.routing import estimate

Point = tuple[float, float]


@dataclass(slots=True)
class Places:
    """The places of a plan, each a row of the travel matrix."""

    rows: dict[Point, int] = field(default_factory=dict)

    def row(self, place: Any) -> int | None:
        """Return the row of an office or a building; None where its place is not known."""
        if place is None or place.latitude is None or place.longitude is None:
            return None
        return self.rows.setdefault((place.latitude, place.longitude), len(self.rows))

    def matrix(self) -> tuple[estimate.Matrix, estimate.Matrix]:
        """Return estimated seconds and metres from every place to every other."""
        return estimate.matrix(list(self.rows))
