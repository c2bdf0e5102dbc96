"""What an authority having jurisdiction wants of water that is shut, as the contractor keeps it."""

from buildings.models import Jurisdiction
from contractors import audit
from contractors.models import Membership
from contractors.refusal import FieldRefused

MOST_HOURS, MOST_MINUTES = 24.0, 24 * 60


def set_outage_times(
    jurisdiction: Jurisdiction, *, impairment_hours: float, attended_minutes: int, by: Membership
) -> Jurisdiction:
    """Set when outages at an authority's buildings call for more; it counts from now on.

    Parameters
    ----------
    impairment_hours
        Hours out of service within 24 from which interim measures are owed; above 0, at most 24.
    attended_minutes
        Minutes after which a shutdown with somebody at the valve is an impairment, 0 to 1440; 0
        where the authority wants to know of every one.

    Raises
    ------
    FieldRefused
        Naming the field that is not accepted.
    """
    if not 0 < impairment_hours <= MOST_HOURS:
        raise FieldRefused("impairment_hours", impairment_hours, "Hours above 0, at most 24.")
    if not 0 <= attended_minutes <= MOST_MINUTES:
        raise FieldRefused("attended_minutes", attended_minutes, "Whole minutes from 0 to 1440.")
    before = jurisdiction.impairment_hours, jurisdiction.attended_minutes
    jurisdiction.impairment_hours = impairment_hours
    jurisdiction.attended_minutes = attended_minutes
    jurisdiction.save(update_fields=["impairment_hours", "attended_minutes"])
    audit.record(
        "outage_times.set",
        by=by,
        on=jurisdiction,
        jurisdiction=jurisdiction.name,
        impairment_hours=[before[0], impairment_hours],
        attended_minutes=[before[1], attended_minutes],
    )
    return jurisdiction
