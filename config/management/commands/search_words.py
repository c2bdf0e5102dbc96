"""`manage.py search_words` keeps the words of every row anew."""

from typing import Any

from django.core.management.base import BaseCommand
from django.db import transaction

from contractors import search
from contractors.outbox import each_contractor
from contractors.scope import contractor_scope


class Command(BaseCommand):
    """Keeps the words by which rows are found anew: once for rows older than the search."""

    help = "Keep the words by which rows are found anew."

    def handle(self, *args: Any, **options: Any) -> None:
        """Go through the contractors one by one."""
        for contractor in each_contractor():
            with contractor_scope(contractor.pk), transaction.atomic():
                rows = search.rebuild()
            self.stdout.write(f"{contractor.name}: {rows} rows")
