"""The buildings app: what there is to look after."""

from django.apps import AppConfig


class BuildingsConfig(AppConfig):
    """Buildings, systems, risers and devices, each with its history."""

    name = "buildings"

    def ready(self) -> None:
        """Register the tables for export, and the sketches on the pages."""
        from buildings import exported, panels, sketch_views

        exported.register()
        panels.building_panels.insert(0, sketch_views.panel)
        panels.item_panels.append(sketch_views.of_riser)
