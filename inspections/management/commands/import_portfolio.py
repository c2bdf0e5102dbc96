"""`manage.py import_portfolio FOLDER_OR_FILE --contractor CODE [--dry-run]`."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from buildings import portfolio
from contractors.models import Contractor, OutboxMessage
from contractors.refusal import Refusal
from contractors.scope import contractor_scope
from inspections import past_visits


class Command(BaseCommand):
    """Import a portfolio from a folder of CSV files, a ZIP file of them, or a workbook."""

    help = __doc__

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the place of the files and the contractor."""
        parser.add_argument("place", type=Path, help="folder of CSV files, ZIP file or workbook")
        parser.add_argument("--contractor", required=True, help="short code of the contractor")
        parser.add_argument("--dry-run", action="store_true", help="only say what would change")

    def handle(self, *args: Any, **options: Any) -> None:
        """Check every row; write all of it or nothing."""
        contractor = Contractor.objects.filter(code=options["contractor"]).first()
        if contractor is None:
            raise CommandError(f"there is no contractor {options['contractor']}")
        try:
            self._import(contractor, options["place"], dry=options["dry_run"])
        except Refusal as refusal:
            raise CommandError(refusal.message()) from refusal

    def _import(self, contractor: Contractor, place: Path, *, dry: bool) -> None:
        tables = portfolio.read(files_at(place))
        with contractor_scope(contractor.pk):
            plan = portfolio.check(tables)
            for problem in plan.problems[: portfolio.MOST_PROBLEMS_SHOWN]:
                self.stderr.write(sentence(problem))
            if plan.problems:
                raise CommandError(f"nothing was imported: {len(plan.problems)} things are wrong")
            for sheet, count in portfolio.summary(plan).items():
                parts = ", ".join(f"{number} {what}" for what, number in count.items() if number)
                self.stdout.write(f"{sheet}: {parts}")
            if dry:
                self.stdout.write("Nothing was written (dry run).")
                return
            portfolio.apply(plan, by=None, reason=f"import of {place.name}", valid_from=None)
        self._history(contractor)

    def _history(self, contractor: Contractor) -> None:
        """Record the visits here and now, rather than wait for a worker."""

        def told(done: int, of: int) -> None:
            self.stdout.write(f"visits: {done} of {of}")

        waiting = OutboxMessage.objects.filter(
            contractor=contractor, kind="portfolio.history", state=OutboxMessage.State.WAITING
        )
        for message in waiting:
            if not past_visits.run_now(message, told):
                self.stdout.write("A worker has taken the visits, or will take them up again.")
        self.stdout.write("Done.")


def files_at(place: Path) -> list[tuple[str, bytes]]:
    """Return name and content of the files at a place.

    Raises
    ------
    CommandError
        When there is nothing to read.
    """
    paths = sorted(place.glob("*.csv")) if place.is_dir() else [place]
    found = [(path.name, path.read_bytes()) for path in paths if path.is_file()]
    if not found:
        raise CommandError(f"there is no CSV file, ZIP file or workbook at {place}")
    return found


def sentence(problem: portfolio.Problem) -> str:
    """Return a problem on one line."""
    value = f" ({problem.value!r})" if problem.value else ""
    accepted = f"; accepted: {problem.accepted}" if problem.accepted else ""
    return f"{problem.sheet}, row {problem.row}, {problem.column}{value}: {problem.wrong}{accepted}"
