"""Photos chunk by chunk, as tus 1.0 says it: creation, where it stands, the next chunk."""

import re
from base64 import b64decode
from email.utils import format_datetime
from typing import Any, ClassVar
from uuid import UUID

from django.urls import reverse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from contractors.refusal import FieldRefused, Refusal
from inspections import uploads
from inspections.api.sync import Field

VERSION = "1.0.0"
_SHA256 = re.compile(r"[0-9a-f]{64}")
_HEADERS = {
    "Tus-Resumable": "1.0.0, the version of the protocol.",
    "Upload-Length": "Bytes in all.",
    "Upload-Offset": "Where the chunk begins.",
    "Upload-Metadata": "`blob` (the photo's id) and `sha256` (in hexadecimal), each in base64.",
    "Upload-Checksum": "`sha256` and the chunk's digest in base64; wanted by nobody, good to have.",
}


class ChunkTooLarge(Refusal):
    """A chunk is larger than one request may bring."""

    code = "chunk_too_large"
    status = 413
    sentence = "A chunk holds at most 1 MiB; 256 KiB suit a weak line."


class ChunkParser(BaseParser):
    """Bytes as they are, at most a chunk."""

    media_type = "application/offset+octet-stream"

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        """Return the bytes."""
        content: bytes = stream.read(uploads.LARGEST_CHUNK + 1)
        if len(content) > uploads.LARGEST_CHUNK:
            raise ChunkTooLarge
        return content


def _asked(*names: str) -> list[OpenApiParameter]:
    return [
        OpenApiParameter(name, OpenApiTypes.STR, OpenApiParameter.HEADER, description=text)
        for name, text in _HEADERS.items()
        if name in names
    ]


class Tus(Field):
    """What every answer carries."""

    kept: ClassVar[None] = None

    def finalize_response(self, *args: Any, **kwargs: Any) -> Any:
        """Name the version of the protocol."""
        answer = super().finalize_response(*args, **kwargs)
        answer["Tus-Resumable"] = VERSION
        return answer


class Uploads(Tus):
    """Uploads of photos."""

    parser_classes = (ChunkParser,)

    @extend_schema(
        request=None,
        parameters=_asked("Tus-Resumable", "Upload-Length", "Upload-Metadata"),
        responses={201: None, 200: None},
    )
    def post(self, request: Request) -> Response:
        """Begin an upload; the same again says how far it has come, 200 when all of it is here."""
        told = _metadata(request.headers.get("Upload-Metadata", ""))
        size = _number(request, "Upload-Length")
        member = request.member  # type: ignore[attr-defined]
        upload = uploads.begin(member, told["blob"], sha256=told["sha256"], size=size)
        headers = _headers(upload)
        headers["Location"] = reverse("api-upload", args=[upload.blob])
        code = status.HTTP_200_OK if upload.is_whole else status.HTTP_201_CREATED
        return Response(status=code, headers=headers)

    @extend_schema(request=None, responses={204: None})
    def options(self, request: Any, *args: Any, **kwargs: Any) -> Response:
        """Say what of the protocol is spoken here."""
        spoken = {
            "Tus-Version": VERSION,
            "Tus-Extension": "creation,checksum,expiration",
            "Tus-Checksum-Algorithm": "sha256",
        }
        return Response(status=status.HTTP_204_NO_CONTENT, headers=spoken)


class OneUpload(Tus):
    """One upload."""

    parser_classes = (ChunkParser,)

    @extend_schema(request=None, responses={200: None})
    def head(self, request: Request, blob: UUID) -> Response:
        """Say how far an upload has come."""
        upload = uploads.find(request.member, blob)  # type: ignore[attr-defined]
        return Response(headers=_headers(upload))

    @extend_schema(
        request={"application/offset+octet-stream": OpenApiTypes.BINARY},
        parameters=_asked("Tus-Resumable", "Upload-Offset", "Upload-Checksum"),
        responses={204: None},
    )
    def patch(self, request: Request, blob: UUID) -> Response:
        """Take the next chunk; the last one makes the photo."""
        chunk: Any = request.data
        upload = uploads.append(
            request.member,  # type: ignore[attr-defined]
            blob,
            bytes(chunk),
            offset=_number(request, "Upload-Offset"),
            digest=_digest(request.headers.get("Upload-Checksum", "")),
        )
        return Response(status=status.HTTP_204_NO_CONTENT, headers=_headers(upload))


def _headers(upload: uploads.Upload) -> dict[str, str]:
    return {
        "Upload-Offset": str(upload.offset),
        "Upload-Length": str(upload.size),
        "Upload-Expires": format_datetime(upload.expires, usegmt=True),
        "Cache-Control": "no-store",
    }


def _number(request: Request, name: str) -> int:
    text = request.headers.get(name, "")
    if not re.fullmatch(r"\d{1,12}", text, re.ASCII):
        raise FieldRefused(name, text, "A whole number of bytes.")
    return int(text)


def _metadata(text: str) -> dict[str, Any]:
    told = {}
    for pair in text.split(","):
        name, _space, value = pair.strip().partition(" ")
        told[name] = _decoded("Upload-Metadata", value).decode("ascii", "replace")
    try:
        blob = UUID(told.get("blob", ""))
    except ValueError:
        raise FieldRefused("blob", told.get("blob", ""), "The photo's id, a UUID.") from None
    if not _SHA256.fullmatch(told.get("sha256", "")):
        raise FieldRefused("sha256", told.get("sha256", ""), "SHA-256 in hexadecimal.")
    return {"blob": blob, "sha256": told["sha256"]}


def _digest(text: str) -> bytes | None:
    if not text:
        return None
    name, _space, value = text.partition(" ")
    if name != "sha256":
        raise FieldRefused("Upload-Checksum", text, "sha256 and a digest in base64.")
    return _decoded("Upload-Checksum", value)


def _decoded(name: str, value: str) -> bytes:
    try:
        return b64decode(value, validate=True)
    except ValueError:
        raise FieldRefused(name, value, "Base64.") from None
