"""Check the tables of a catalogue before they are put in force."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inspections.catalogue_tables import faults, load_catalogue


class Command(BaseCommand):
    """Print every fault of a folder of catalogue tables with file, row and reason."""

    help = "Check a folder of catalogue tables; print every fault with file, row and reason."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the folder."""
        parser.add_argument("folder", type=Path, help="holds activities.csv and its neighbours")

    def handle(self, *_args: Any, folder: Path, **_options: Any) -> None:
        """Check, print and fail where there is a fault; nothing in force changes."""
        if not folder.is_dir():
            raise CommandError(f"folder: {folder} is no folder")
        found = faults(folder)
        for fault in found:
            self.stdout.write(str(fault))
        if found:
            raise CommandError(f"{len(found)} faults; what is in force stays in force")
        good = load_catalogue(folder)
        self.stdout.write(f"{good.version}: {len(good.activities)} activities, no fault")
