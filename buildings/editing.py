"""Enter and change buildings, systems, risers and devices one by one, from a page or the API."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.db import transaction

from buildings import inventory, kinds
from buildings.models import Building, Device
from contractors import audit
from contractors.models import Membership
from contractors.refusal import FieldRefused


class NumberUsed(FieldRefused):
    """The number stands for something else already."""

    code = "number_used"


def enter(subject: Any, *, by: Membership, reason: str = "") -> Any:
    """Write a new building, system, riser or device with its first revision.

    Raises
    ------
    FieldRefused
        When its number is used, an attribute cannot be, or it cannot hang where it is to hang.
    """
    subject.attributes = kinds.kind_named(_kind_of(subject)).normalise(subject.attributes)
    _check(subject)
    with transaction.atomic():
        inventory.add([subject], by=by, reason=reason)
        kind = inventory.subject_kind_of(subject)
        audit.record(f"{kind}.entered", by=by, on=subject, code=subject.code)
    return subject


def change(
    subject: Any, values: Mapping[str, Any], *, valid_from: date | None, by: Membership, reason: str
) -> Any:
    """Change columns of a row: those with a past by a revision, the others as they are now.

    Parameters
    ----------
    values
        Columns with their new values; `attributes` holds only the attributes that change, an
        empty one is taken out.

    Raises
    ------
    FieldRefused
        As `enter` and `inventory.revise` do.
    """
    kind = inventory.subject_kind_of(subject)
    facts: dict[str, Any] = {}
    columns: dict[str, Any] = {}
    for name, value in values.items():
        if name == "attributes":
            if value:
                facts[name] = _attributes(_kind_of(subject), value)
            continue
        attname = subject._meta.get_field(name).attname
        target = facts if attname in inventory.FACTS[kind] else columns
        target[attname] = getattr(value, "pk", value)
    with transaction.atomic():
        for attname, value in (facts | columns).items():
            if attname != "attributes":
                setattr(subject, attname, value)
        _check(subject)
        if columns:
            names = [subject._meta.get_field(attname).name for attname in columns]
            subject.save(update_fields=names)
            audit.record(f"{kind}.changed", by=by, on=subject, columns=sorted(columns))
        if facts:
            inventory.revise(subject, facts, valid_from=valid_from, by=by, reason=reason)
    return subject


def place_refused(device: Any) -> str:
    """Return where a device of this kind may hang; empty when it hangs rightly.

    Anything may hang on the building where its kind may; what stands further up counts too, so that
    a sign of a riser is a sign of its system.
    """
    allowed = kinds.kinds()[device.kind].parents
    above, at = {"building"}, device
    while at is not None:
        if at is not device:
            above.add(at.item_kind)
        at = (
            getattr(at, "parent", None) or getattr(at, "riser", None) or getattr(at, "system", None)
        )
        if at is device:
            return "another device, not in a circle"
    return "" if above & set(allowed) else f"on one of: {', '.join(allowed)}"


def _attributes(kind: str, given: Mapping[str, Any]) -> dict[str, Any]:
    known = kinds.kind_named(kind)
    wanted = known.normalise({name: value for name, value in given.items() if not _empty(value)})
    for name in (name for name, value in given.items() if _empty(value)):
        attribute = known.attribute_for(name)
        if attribute is None:
            known.normalise({name: "?"})
        else:
            wanted[attribute.name] = None  # type: ignore[assignment]
    return wanted


def _empty(value: Any) -> bool:
    return value is None or (isinstance(value, str) and not value.strip())


def _kind_of(subject: Any) -> str:
    return "building" if isinstance(subject, Building) else str(subject.item_kind)


def _check(subject: Any) -> None:
    same = type(subject).objects.filter(code=subject.code).exclude(pk=subject.pk)
    if not isinstance(subject, Building):
        same = same.filter(building_id=subject.building_id)
        _check_hangs(subject)
    if same.exists():
        raise NumberUsed("code", subject.code, "A number that is not used yet.")


def _check_hangs(subject: Any) -> None:
    for name in ("system", "riser", "parent"):
        other = getattr(subject, name, None)
        if other is not None and other.building_id != subject.building_id:
            raise FieldRefused(name, other, f"A {name} of the same building.")
        if other is not None and other.pk == subject.pk:
            raise FieldRefused(name, other, "Something else than itself.")
    if isinstance(subject, Device):
        riser, system = subject.riser, subject.system
        if riser is not None and riser.system_id != getattr(system, "pk", None):
            raise FieldRefused("riser", riser, "A riser of the device's own system.")
        refused = place_refused(subject)
        if refused:
            raise FieldRefused("kind", subject.kind, f"A {subject.kind} hangs {refused}.")
