"""The sheets of a portfolio: their columns, other headings for them, and what each takes."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from buildings import kinds
from buildings.models import System
from buildings.portfolio import values
from buildings.portfolio.values import DAY, Cell, code, one_of, plain, text, whole
from contractors.models import Contractor, Licence

GRADES = ("own_record", "other_report", "owners_word")


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a sheet.

    Attributes
    ----------
    name
        Its heading; `also` are other headings for it.
    cell
        What it takes.
    field
        The column of the table that it fills, where that has another name.
    key
        Part of what tells one row from another; always needed.
    apart
        Part of what tells one row from another where it is filled in.
    needed
        Needed where the row is new.
    """

    name: str
    cell: Cell
    field: str = ""
    also: tuple[str, ...] = ()
    key: bool = False
    apart: bool = False
    needed: bool = False

    @property
    def fills(self) -> str:
        """Return the column of the table."""
        return self.field or self.name


@dataclass(frozen=True)
class Sheet:
    """A sheet: its name, what it holds, and its columns.

    Attributes
    ----------
    kind_of
        For sheets whose rows have attributes: from the row's own values to the kind in the
        dictionary of kinds, or None while the row does not say.
    """

    name: str
    holds: str
    columns: tuple[Column, ...]
    kind_of: Callable[[Mapping[str, Any]], str | None] | None = None
    attribute_kinds: tuple[str, ...] = ()
    by_heading: dict[str, Column] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        for column in self.columns:
            for heading in (column.name, *column.also):
                self.by_heading[plain(heading)] = column

    def column_for(self, heading: str) -> Column | None:
        """Return the column that a heading means."""
        return self.by_heading.get(plain(heading))

    def takes_attribute(self, heading: str) -> bool:
        """Say whether some kind of this sheet has an attribute of that heading."""
        of_kinds = (kinds.kinds()[kind] for kind in self.attribute_kinds)
        return any(kind.attribute_for(heading) is not None for kind in of_kinds)

    def attribute_columns(self) -> list[str]:
        """Return the attributes that the sheet may have besides its columns, each once."""
        found = (name for kind in self.attribute_kinds for name in kinds.kinds()[kind].attributes)
        return [name for name in dict.fromkeys(found) if self.column_for(name) is None]


_BUILDING = Column("building", code(30), key=True, also=("building number", "site"))
_NUMBER = Column("number", code(40), "code", ("no", "id", "tag"), key=True)
_FROM = Column("in_service_from", DAY, also=("installed on", "in service"))
_TO = Column("in_service_to", DAY, also=("out of service on", "retired on"))
_WHERE = Column("location", text(160), also=("where", "room"))
_ORDER = Column("order", whole(0, 1_000_000), "position", ("order of flow",))


def _system_kind(row: Mapping[str, Any]) -> str | None:
    return System(kind=row["kind"]).item_kind if row.get("kind") else None


SHEETS: dict[str, Sheet] = {
    sheet.name: sheet
    for sheet in (
        Sheet(
            "offices",
            "places that technicians start from",
            (
                Column("name", text(80), key=True),
                Column("address", text(200)),
                Column("latitude", values.LATITUDE, needed=True, also=("lat",)),
                Column("longitude", values.LONGITUDE, needed=True, also=("lon", "lng")),
            ),
        ),
        Sheet(
            "people",
            "your own people",
            (
                Column("code", code(20), key=True, also=("short code", "initials")),
                Column("name", text(120), needed=True),
                Column("office", text(80)),
                Column("email", values.EMAIL, also=("e-mail",)),
                Column("phone", text(20), also=("telephone",)),
                Column("technician", values.TRUTH, "is_technician", ("goes out",)),
                Column("week", values.WEEK, also=("working week", "hours")),
            ),
        ),
        Sheet(
            "licences",
            "licences and qualifications of your people",
            (
                Column("person", code(20), key=True),
                Column("kind", one_of(Licence.Kind.values), key=True),
                Column("number", text(40)),
                Column("jurisdiction", text(80), also=("authority",)),
                Column("valid_from", DAY, key=True, also=("from",)),
                Column("valid_until", DAY, needed=True, also=("until", "expires")),
            ),
        ),
        Sheet(
            "instruments",
            "gauges, kits and meters with their calibration",
            (
                Column("serial", code(60), key=True, also=("serial number",)),
                Column("kind", text(60), needed=True),
                Column("calibrated_on", DAY),
                Column("due_on", DAY, also=("calibration due",)),
            ),
        ),
        Sheet(
            "jurisdictions",
            "authorities having jurisdiction and the editions they adopted, one row an edition",
            (
                Column("name", text(120), key=True),
                Column("country", text(20)),
                Column("region", text(20), also=("state", "province")),
                Column("edition", whole(1974, 2100), needed=True, also=("adopted edition",)),
                Column("in_force_from", DAY, "valid_from", ("adopted on",), key=True),
                Column("impairment_hours", values.number(0, 24)),
                Column("attended_minutes", whole(0, 1440), also=("attended shutdown minutes",)),
                Column("notice_phone", text(40)),
                Column("emergency_phone", text(40), also=("fire department",)),
            ),
        ),
        Sheet(
            "owners",
            "owners who may see what you publish of their buildings",
            (
                Column("code", values.slug(40), key=True),
                Column("name", text(120), needed=True),
            ),
        ),
        Sheet(
            "buildings",
            "buildings you look after",
            (
                Column("number", code(30), "code", ("building number", "no", "code"), key=True),
                Column("name", text(120), needed=True),
                Column("address", text(200), needed=True, also=("street and number", "street")),
                Column("city", text(80), needed=True, also=("town",)),
                Column("region", text(20), also=("state", "province")),
                Column("postal_code", text(20), also=("zip", "postcode")),
                Column("country", text(20)),
                Column("district", text(60), "area", ("area",)),
                Column("latitude", values.LATITUDE, also=("lat",)),
                Column("longitude", values.LONGITUDE, also=("lon", "lng")),
                Column("time_zone", values.ZONE),
                Column("units", one_of(Contractor.Units.values)),
                Column("jurisdiction", text(120), also=("authority",)),
                Column("hours", values.HOURS, also=("hours for visits",)),
                Column("access", text(4000), "access_notes", ("access notes", "keys")),
                Column("contact", text(120), "contact_name"),
                Column("contact_phone", text(40)),
                Column("contact_email", values.EMAIL),
                Column("station_phone", text(40), also=("monitoring station",)),
                Column("station_account", text(40), also=("monitoring account",)),
                Column("taken_over_on", DAY, needed=True, also=("looked after since",)),
                Column("suspended_from", DAY),
                Column("suspended_until", DAY),
                Column("suspension_reason", text(200)),
            ),
            kind_of=lambda row: "building",
            attribute_kinds=("building",),
        ),
        Sheet(
            "engagements",
            "which owner engaged you for which building, and from when to when",
            (
                _BUILDING,
                Column("owner", values.slug(40), key=True),
                Column("from", DAY, "from_on", key=True),
                Column("until", DAY, "until_on", ("to",)),
            ),
        ),
        Sheet(
            "agreements",
            "what the contract leaves to the owner",
            (
                _BUILDING,
                Column("from", DAY, "valid_from", key=True),
                Column("until", DAY, "valid_until", ("to",)),
                Column("owner_does", values.FREQUENCIES),
                Column("annual_month", values.MONTH, "anchor_month"),
            ),
        ),
        Sheet(
            "systems",
            "sprinkler systems, standpipes, pumps, tanks, mains and lead-ins",
            (
                _BUILDING,
                _NUMBER,
                Column("name", text(120), needed=True),
                Column("kind", one_of(System.Kind.values), needed=True, also=("system type",)),
                Column("parent", code(40), also=("hangs on",)),
                _WHERE,
                _ORDER,
                _FROM,
                _TO,
            ),
            kind_of=_system_kind,
            attribute_kinds=(
                *("system", "standpipe", "fire_pump", "tank", "private_main", "lead_in"),
            ),
        ),
        Sheet(
            "risers",
            "risers, each with the system it feeds",
            (
                _BUILDING,
                _NUMBER,
                Column("system", code(40), needed=True),
                Column("name", text(120), needed=True),
                _WHERE,
                _ORDER,
                _FROM,
                _TO,
            ),
            kind_of=lambda row: "riser",
            attribute_kinds=("riser",),
        ),
        Sheet(
            "devices",
            "valves, switches, gauges, sprinklers and everything else that is looked at",
            (
                _BUILDING,
                _NUMBER,
                Column("kind", one_of(kinds.device_kinds()), needed=True),
                Column("name", text(120)),
                Column("system", code(40)),
                Column("riser", code(40)),
                Column("parent", code(40), also=("hangs on",)),
                _WHERE,
                _ORDER,
                Column("serial", text(60), also=("serial number",)),
                _FROM,
                _TO,
            ),
            kind_of=lambda row: row.get("kind"),
            attribute_kinds=kinds.device_kinds(),
        ),
    )
}
"""The sheets of the inventory, in the order in which they are read and written."""
