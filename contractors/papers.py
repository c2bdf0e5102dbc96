"""Scanned papers that somebody uploads: certificates and licences, as a PDF or a picture."""

from django.http import HttpResponse
from django.utils.translation import gettext as _

from contractors import files, pictures
from contractors.models import StoredFile
from contractors.refusal import NotThere, Refusal

LARGEST_BYTES = 20 * 2**20
PDF = "application/pdf"
_BEGINS = b"%PDF-"


class PaperRefused(Refusal):
    """An uploaded file is no paper that can be kept."""

    code = "paper_refused"
    status = 422
    sentence = "%(file)s cannot be kept. Accepted: a PDF or a picture of at most 20 MB."


def keep(content: bytes, *, name: str) -> StoredFile:
    """Keep an uploaded PDF as it is, or a picture written anew, and return its row.

    Raises
    ------
    PaperRefused
        When it is too large or not a PDF at all.
    PictureRefused
        When it is no PDF and no picture that can be used.
    """
    if not content or len(content) > LARGEST_BYTES:
        raise PaperRefused(file=name or _("The file"))
    if content.startswith(_BEGINS):
        return files.store(content, media_type=PDF, name=_named(name, ".pdf"))
    picture = pictures.accept(content, name=name)
    return files.store(picture.jpeg, media_type="image/jpeg", name=_named(name, ".jpg"))


def served(row: StoredFile | None) -> HttpResponse:
    """Return a paper as an answer that no browser takes for anything else."""
    if row is None:
        raise NotThere
    try:
        content = files.read(row)
    except FileNotFoundError:
        raise NotThere from None
    answer = HttpResponse(content, content_type=row.media_type)
    how = "attachment" if row.media_type == PDF else "inline"
    answer["Content-Disposition"] = f'{how}; filename="{row.name}"'
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Security-Policy"] = "sandbox; default-src 'none'"
    return answer


def _named(name: str, ending: str) -> str:
    stem = name.rpartition("/")[2].rpartition("\\")[2].rsplit(".", 1)[0]
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in stem)
    return (plain.strip("-")[:80] or "paper") + ending
