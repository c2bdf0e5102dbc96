"""Scanned papers in the API: a name and the bytes in base64, within a JSON body."""

import base64
import binascii
from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

# A body of 5 MB holds this much in base64, with room for the rest.
LARGEST_BYTES = 3 * 2**20


class PaperIn(serializers.Serializer[Any]):
    """A PDF or a picture."""

    name = serializers.CharField(max_length=120)
    content = serializers.CharField(help_text="The bytes in base64, at most 3 MB.")

    def validate_content(self, text: str) -> bytes:
        """Return the bytes."""
        try:
            content = base64.b64decode(text, validate=True)
        except (binascii.Error, ValueError):
            raise serializers.ValidationError(_("Bytes in base64 are accepted.")) from None
        if not content or len(content) > LARGEST_BYTES:
            raise serializers.ValidationError(_("1 byte to 3 MB are accepted."))
        return content


def paper_of(given: dict[str, Any] | None) -> tuple[str, bytes] | None:
    """Return name and bytes of a paper that came along, or None."""
    return (given["name"], given["content"]) if given else None
