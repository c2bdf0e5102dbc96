"""Mail without a mail server: kept as a notice, shown on the outbox page, which says so."""

from collections.abc import Sequence

from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.backends.filebased import EmailBackend as FileBackend


class KeepOnOutboxPage(BaseEmailBackend):
    """Keeps mail of the sign-in pages in the data folder; the contractor's notices have a page."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        """Write each message to a file under DATA_DIR/mail and count them."""
        from django.conf import settings

        files = FileBackend(file_path=str(settings.DATA_DIR / "mail"))
        return int(files.send_messages(email_messages) or 0)
