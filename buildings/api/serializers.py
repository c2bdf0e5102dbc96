"""What the API says, and takes, of contractors, people, buildings and what stands in them."""

from typing import Any

from rest_framework import serializers

from buildings import kinds
from buildings.models import Building, Device, Engagement, Jurisdiction, Riser, System
from contractors.models import Contractor, Licence, Person

_ITEM = (
    *("id", "building", "code", "name", "location", "position", "attributes"),
    *("in_service_from", "in_service_to"),
)


class Here(serializers.PrimaryKeyRelatedField):  # type: ignore[type-arg]
    """A key to a row of the contractor in scope; the rows are asked for when a request comes."""

    def __init__(self, model: Any = None, **options: Any) -> None:
        self.model = model
        if not options.get("read_only"):
            options["queryset"] = model.objects.none()
        super().__init__(**options)

    def get_queryset(self) -> Any:
        """Return the rows in scope."""
        return self.model.objects.all()


class ContractorOut(serializers.ModelSerializer[Contractor]):
    """A contractor."""

    class Meta:
        model = Contractor
        fields = ("id", "code", "name", "units", "time_zone", "review_waived")


class PersonLicenceOut(serializers.ModelSerializer[Licence]):
    """A licence of a person."""

    class Meta:
        model = Licence
        fields = ("id", "kind", "number", "jurisdiction", "valid_from", "valid_until")


class PersonOut(serializers.ModelSerializer[Person]):
    """One of the contractor's people."""

    office = serializers.CharField(source="office.name", default=None, read_only=True)
    licences = PersonLicenceOut(many=True, read_only=True)

    class Meta:
        model = Person
        fields = (
            "id",
            "code",
            "name",
            "office",
            "phone",
            "email",
            "is_technician",
            "week",
            "licences",
        )


class JurisdictionOut(serializers.ModelSerializer[Jurisdiction]):
    """An authority having jurisdiction."""

    class Meta:
        model = Jurisdiction
        fields = ("id", "name", "country", "region", "impairment_hours", "attended_minutes")


class OutageTimesIn(serializers.Serializer[Any]):
    """When outages at an authority's buildings call for more; what is left out stays."""

    impairment_hours = serializers.FloatField(
        help_text="Hours out of service in 24 from which interim measures are owed."
    )
    attended_minutes = serializers.IntegerField(
        help_text="Minutes after which an attended shutdown is an impairment; 0 for every one."
    )


class EngagementOut(serializers.ModelSerializer[Engagement]):
    """An owner's engagement of the contractor."""

    owner = serializers.CharField(source="owner.name")

    class Meta:
        model = Engagement
        fields = ("owner", "from_on", "until_on")


_BUILDING = (
    *("code", "name", "address", "city", "region", "postal_code", "country", "area"),
    *("latitude", "longitude", "time_zone", "units", "jurisdiction", "hours", "access_notes"),
    *("contact_name", "contact_phone", "contact_email", "station_phone", "station_account"),
    *("taken_over_on", "attributes", "suspended_from", "suspended_until", "suspension_reason"),
)


class BuildingOut(serializers.ModelSerializer[Building]):
    """A building, as it is now."""

    jurisdiction = JurisdictionOut(read_only=True)
    engagements = EngagementOut(many=True, read_only=True)
    history_complete = serializers.BooleanField(
        help_text="False while an import of its history is running.", read_only=True
    )

    class Meta:
        model = Building
        fields = ("id", *_BUILDING, "engagements", "history_complete")


class _Change(serializers.Serializer[Any]):
    """Since when and why, for changes of what is there."""

    valid_from = serializers.DateField(
        required=False, write_only=True, help_text="Since when it has been so; today when left out."
    )
    reason = serializers.CharField(
        required=False, write_only=True, max_length=200, help_text="Why; needed for a change."
    )


class BuildingIn(_Change, serializers.ModelSerializer[Building]):
    """A building as it is entered or changed."""

    jurisdiction = Here(Jurisdiction, required=False, allow_null=True)
    attributes = serializers.DictField(required=False)

    class Meta:
        model = Building
        fields = (*_BUILDING, "valid_from", "reason")
        validators: list[Any] = []


class SystemOut(serializers.ModelSerializer[System]):
    """A system, or a part of the supply."""

    class Meta:
        model = System
        fields = (*_ITEM, "kind", "parent")


class RiserOut(serializers.ModelSerializer[Riser]):
    """A riser."""

    class Meta:
        model = Riser
        fields = (*_ITEM, "system")


class DeviceOut(serializers.ModelSerializer[Device]):
    """A device."""

    class Meta:
        model = Device
        fields = (*_ITEM, "kind", "system", "riser", "parent", "serial")


class _ItemIn(_Change):
    """What systems, risers and devices have in common when they are entered or changed."""

    def validate_building(self, building: Building) -> Building:
        """Keep an item in its building."""
        if self.instance is not None and building.pk != self.instance.building_id:
            raise serializers.ValidationError("An item stays in its building.")
        return building


class SystemIn(_ItemIn, serializers.ModelSerializer[System]):
    """A system as it is entered or changed."""

    building = Here(Building)
    parent = Here(System, required=False, allow_null=True)  # type: ignore[assignment]
    attributes = serializers.DictField(required=False)

    class Meta:
        model = System
        fields = (*_ITEM[1:], "kind", "parent", "valid_from", "reason")
        validators: list[Any] = []


class RiserIn(_ItemIn, serializers.ModelSerializer[Riser]):
    """A riser as it is entered or changed."""

    building = Here(Building)
    system = Here(System)
    attributes = serializers.DictField(required=False)

    class Meta:
        model = Riser
        fields = (*_ITEM[1:], "system", "valid_from", "reason")
        validators: list[Any] = []


class DeviceIn(_ItemIn, serializers.ModelSerializer[Device]):
    """A device as it is entered or changed."""

    building = Here(Building)
    system = Here(System, required=False, allow_null=True)
    riser = Here(Riser, required=False, allow_null=True)
    parent = Here(Device, required=False, allow_null=True)  # type: ignore[assignment]
    attributes = serializers.DictField(required=False)
    kind = serializers.ChoiceField(choices=[(kind, kind) for kind in kinds.device_kinds()])

    class Meta:
        model = Device
        fields = (*_ITEM[1:], "kind", "system", "riser", "parent", "serial", "valid_from", "reason")
        validators: list[Any] = []


class ImportIn(serializers.Serializer[Any]):
    """Sheets as rows; files may be sent as multipart instead."""

    dry_run = serializers.BooleanField(default=False)
    sheets = serializers.DictField(
        child=serializers.ListField(child=serializers.DictField()), allow_empty=False
    )


class ImportOut(serializers.Serializer[Any]):
    """What an import did, or would do."""

    dry_run = serializers.BooleanField()
    counts = serializers.DictField(child=serializers.DictField(child=serializers.IntegerField()))
    changes = serializers.ListField(child=serializers.DictField())
    history = serializers.UUIDField(allow_null=True, help_text="Job that records the visits.")
