"""Kinds of event that are recorded at the office: review, amendments, decisions, take-over."""

from inspections.events.fields import (
    CODE,
    DAY,
    ID,
    SHA256,
    Anything,
    Field,
    ListOf,
    OneOf,
    Record,
    may,
)
from inspections.events.kind import (
    GRADES,
    LINE,
    NOTE,
    REASON,
    TAKEN_OVER,
    Kind,
)
from inspections.events.rules import Needs, NeedsUnless

AT_THE_OFFICE = (
    Kind(
        name="visit.review",
        payload=Record(
            Field("verdict", OneOf("accept", "send_back")),
            may("text", NOTE),
            may("licence", CODE),
        ),
        rules=(Needs("text", "verdict", ("send_back",)),),
    ),
    Kind(name="visit.waive_review", payload=Record(Field("reason", REASON))),
    Kind(name="visit.seal", payload=Record(may("shown", SHA256))),
    Kind(
        name="visit.amend",
        replaces=True,
        payload=Record(
            Field("target", ID),
            Field("kind", CODE),
            Field("value", Anything()),
            Field(
                "reason",
                OneOf(
                    "mistyped",
                    "wrong_unit",
                    "wrong_subject",
                    "instrument_fault",
                    "left_out",
                    "judged_anew",
                    "other",
                ),
            ),
            Field("text", REASON),
            may("second", ID),
        ),
    ),
    Kind(
        name="visit.cancel",
        payload=Record(
            Field(
                "reason",
                OneOf(
                    "no_access",
                    "weather",
                    "unsafe",
                    "owner_asked",
                    "moved",
                    "entered_twice",
                    "other",
                ),
            ),
            may("text", REASON),
        ),
        rules=(Needs("text", "reason", ("other",)),),
    ),
    Kind(
        name="visit.import",
        payload=Record(
            Field("grade", OneOf(*GRADES)),
            Field("done_on", DAY),
            may("done_by", LINE),
            may("source", LINE),
            may("row", LINE),
        ),
        rules=(NeedsUnless("done_by", "grade", ("own_record",)),),
    ),
    Kind(
        name="building.take_over",
        streams=("building",),
        key="building",
        payload=Record(
            Field("building", ID),
            Field("on", DAY),
            Field("activities", ListOf(TAKEN_OVER, 0, 5_000)),
            may("text", NOTE),
        ),
    ),
)
