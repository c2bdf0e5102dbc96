"""`manage.py verify_history` checks every chain of the record."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from contractors.outbox import each_contractor
from contractors.scope import contractor_scope
from inspections import record
from inspections.models import ChainHead


class Command(BaseCommand):
    """Checks that no entry of the record was changed, dropped or cut off."""

    help = "Check every chain of the record; exit 1 and name the first broken entry of each."

    def handle(self, *args: Any, **options: Any) -> None:
        """Go through all streams of all contractors."""
        broken = 0
        for contractor in each_contractor():
            with contractor_scope(contractor.pk):
                heads = list(ChainHead.objects.values_list("stream", "stream_id"))
                for stream, stream_id in heads:
                    verdict = record.verify(stream, stream_id)
                    if not verdict.holds:
                        broken += 1
                        self.stderr.write(f"{contractor.code} {stream} {stream_id}: {verdict.why}")
            self.stdout.write(f"{contractor.name}: {len(heads)} chains checked")
        if broken:
            raise CommandError(f"{broken} chains do not hold.")
