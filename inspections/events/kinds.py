"""Every kind of event: on which streams it may stand and what its payload holds, as data.

A payload is named fields, no others, and rules between them. A changed payload is a new version
beside the old one: events stay as they were recorded, and `envelope.upgrade` brings an old one up
to date for its reader.
"""

from dataclasses import replace

from inspections.events.fields import DECIMAL, INSTANT, NOT_NEGATIVE, Field, Pattern, Record, may
from inspections.events.kind import LINE, Kind
from inspections.events.matter_kinds import FINDINGS, OUTAGES, SAMPLES
from inspections.events.office_kinds import AT_THE_OFFICE
from inspections.events.visit_kinds import AT_THE_BUILDING

# What a technician may take down on paper and have typed in later.
ON_PAPER = (
    *("visit.open", "visit.station", "item.set", "reading.add", "step.add", "proof.set"),
    *("note.add", "finding.add", "outage.start", "outage.end", "impairment.start"),
    *("impairment.notice", "impairment.tag", "impairment.watch", "impairment.end"),
    *("finding.link", "visit.leave", "signature.add", "visit.hand_in"),
)
_PAPER = Record(Field("at", INSTANT), Field("typed_at", INSTANT), may("by", LINE))


# Where a signature was put, as far as the device said so and whoever signed let it.
_PLACE = Record(
    Field("latitude", DECIMAL), Field("longitude", DECIMAL), may("accuracy_m", NOT_NEGATIVE)
)
# A signature drawn with a finger, in a box of 600 by 200: points of a stroke, strokes apart.
_STROKES = Pattern(
    r"\d{1,3},\d{1,3}([ ;]\d{1,3},\d{1,3}){0,2000}",
    "points such as 10,20 12,24;40,60 within 600 by 200, strokes apart by a semicolon",
)
_BESIDE = {"signature.add": (may("place", _PLACE), may("strokes", _STROKES))}


def _from_paper(kind: Kind) -> Kind:
    """Return the second version of a kind: it may say when it was taken down on paper."""
    fields = (*kind.payload.fields.values(), *_BESIDE.get(kind.name, ()))
    return replace(kind, version=2, payload=Record(*fields, may("paper", _PAPER)))


_FIRST = (*AT_THE_BUILDING, *FINDINGS, *OUTAGES, *SAMPLES, *AT_THE_OFFICE)
_SECOND = tuple(_from_paper(kind) for kind in _FIRST if kind.name in ON_PAPER)
KINDS = {(kind.name, kind.version): kind for kind in (*_FIRST, *_SECOND)}
CURRENT = {name: max(v for n, v in KINDS if n == name) for name, _ in KINDS}
