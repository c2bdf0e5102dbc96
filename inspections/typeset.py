"""Lays a page out as an archival PDF; it reads its own pictures and fonts and nothing outside."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from weasyprint import CSS, HTML, Attachment
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher, URLFetcherResponse

FONTS = Path(__file__).resolve().parent.parent / "contractors/static/contractors/fonts"
# Tagged, archival, and allowed to carry the data it was made of.
VARIANT = "pdf/a-3a"


class _OwnFilesOnly(URLFetcher):  # type: ignore[misc]
    """Knows the report's own pictures and fonts, and nothing outside."""

    def __init__(self, pictures: Mapping[str, bytes]) -> None:
        super().__init__(allowed_protocols=("maindrain",), allow_redirects=False)
        self.pictures = pictures

    def fetch(self, url: str, headers: Any = None) -> URLFetcherResponse:
        """Return a picture or a font by its own address; anything else is refused."""
        kind, _, name = url.removeprefix("maindrain:").partition("/")
        if kind == "photo" and name in self.pictures:
            return URLFetcherResponse(url, self.pictures[name], {"Content-Type": "image/jpeg"})
        if kind == "drawn" and name in self.pictures:
            return URLFetcherResponse(url, self.pictures[name], {"Content-Type": "image/svg+xml"})
        if kind == "font" and (FONTS / Path(name).name).is_file():
            return URLFetcherResponse(url, (FONTS / Path(name).name).read_bytes())
        raise ValueError(f"a report uses its own files only: {url[:80]}")


def typeset(
    page: str,
    data: str,
    pictures: Mapping[str, bytes],
    *,
    name: str,
    identifier: str,
    style: Path,
) -> bytes:
    """Return the PDF of a page with its data attached; the same input gives the same bytes."""
    fetcher, fonts = _OwnFilesOnly(pictures), FontConfiguration()
    sheet = CSS(string=style.read_text(), url_fetcher=fetcher, font_config=fonts)
    document = HTML(string=page, url_fetcher=fetcher, base_url="maindrain:").render(
        stylesheets=[sheet], font_config=fonts
    )
    written: bytes = document.write_pdf(
        pdf_variant=VARIANT,
        pdf_identifier=identifier.encode()[:32],
        attachments=[Attachment(string=data, name=name, relationship="Data")],
        optimize_images=True,
        dpi=150,
        jpeg_quality=70,
    )
    return written
