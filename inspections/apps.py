"""The inspections app: what was done and found."""

from django.apps import AppConfig


class InspectionsConfig(AppConfig):
    """The record of events and what is derived from it: visits, results, findings, reports."""

    name = "inspections"

    def ready(self) -> None:
        """Register handlers of the outbox, the sheets of history and the tables for export."""
        from buildings import panels
        from inspections import exported, history, report  # noqa: F401
        from inspections.label_views import label_panel
        from inspections.marks import found_here
        from inspections.past_views import read_here
        from inspections.supply_views import supply_panel

        panels.building_panels += [found_here, supply_panel, label_panel]
        panels.item_panels.append(read_here)
        exported.register()
