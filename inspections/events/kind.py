"""A kind of event, and the words and records that several kinds share."""

from dataclasses import dataclass

from inspections.events.fields import (
    CODE,
    DAY,
    ID,
    QUANTITY,
    SHA256,
    Field,
    ListOf,
    OneOf,
    Record,
    Text,
    Whole,
    may,
)
from inspections.events.rules import Rule

STREAMS = ("visit", "impairment", "finding", "building", "sample")

# Worst first: where two people disagree, the first of these words is shown.
ANSWERS = ("fail", "finding", "could_not", "not_fitted", "pass", "seen_in_order")
PROOFS = ("not_proven", "not_fitted", "proven")
OUTCOMES = ("no_operation", "slow", "pass")
CLASSES = ("impairment", "critical", "noncritical", "observation")

PHASES = ("as_found", "as_left")
GRADES = ("own_record", "other_report", "owners_word")
RESTORED = ("restored_proven", "restored_proof_missing")
MEDIA_TYPES = ("image/jpeg", "image/png", "image/webp", "image/heic", "application/pdf")
LARGEST_FILE_BYTES = 20 * 2**20


LINE = Text(200)
REASON = Text(1000)
NOTE = Text(4000)

SUBJECT = Record(
    Field("kind", OneOf("device", "riser", "zone", "system", "supply_point", "building")),
    Field("id", ID),
)
EVIDENCE = Record(
    Field("kind", OneOf("result", "visit", "decision", "replacement")), Field("id", ID)
)
MANIFEST = Record(
    Field("events", ListOf(ID, 0, 10_000)),
    Field("count", Whole(0, 10_000)),
    Field("photos", ListOf(SHA256, 0, 2_000)),
)
ALSO = Record(Field("what", CODE), may("on", ListOf(ID, 1, 200)))
PIECE = Record(Field("tag", CODE), Field("group", ID), may("where", LINE))
TESTED = Record(
    Field("tag", CODE),
    Field("outcome", OneOf(*OUTCOMES)),
    may("value", QUANTITY),
    may("text", LINE),
)
CERTIFICATE = Record(Field("file", ID), Field("sha256", SHA256), may("number", LINE))
REPLACED = Record(
    Field("old", ID),
    Field("new", ID),
    Field("count", Whole(1, 1_000_000)),
    Field("year", Whole(1874, 2200)),
    may("left", Whole(1, 1_000_000)),
)
TAKEN_OVER = Record(
    Field("subject", SUBJECT),
    Field("activity", CODE),
    may("last_done", DAY),
    may("grade", OneOf(*GRADES)),
    may("by", LINE),
    may("catch_up_by", DAY),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of event in one version.

    Attributes
    ----------
    name, version
        What an event says it is.
    payload, rules
        What it holds.
    streams
        On which streams it may stand.
    key
        The field that repeats the id of its stream; empty where only the envelope says it.
    replaces
        Whether `seen` may name events that this one takes the place of.
    work
        Whether it is work at the building, which belongs before the hand-in.
    amendable
        Whether an amendment may correct it. Signatures and acts of review are never corrected.
    """

    name: str
    payload: Record
    rules: tuple[Rule, ...] = ()
    version: int = 1
    streams: tuple[str, ...] = ("visit",)
    key: str = ""
    replaces: bool = False
    work: bool = False
    amendable: bool = False
