"""A "no" that the user can act on; page, fragment and problem JSON are made of it in `config`."""

from typing import Any, ClassVar

from django.utils.translation import gettext as _


class Refusal(Exception):
    """Something the user asked for is not done, and the sentence says what to do instead.

    Parameters
    ----------
    facts
        Values that the sentence names, and that the API gives along as data.

    Attributes
    ----------
    wait
        Seconds after which the same may be asked again; None where time alone changes nothing.
    """

    code: ClassVar[str] = "refused"
    status: ClassVar[int] = 409
    sentence: ClassVar[str] = "This cannot be done now."
    wait: int | None = None

    def __init__(self, **facts: Any) -> None:
        super().__init__(facts)
        self.facts = facts

    def message(self) -> str:
        """Return one sentence in the reader's language: what is wrong and what to do."""
        return _(self.sentence) % self.facts if self.facts else _(self.sentence)

    def __str__(self) -> str:
        return self.message()


class NotThere(Refusal):
    """The row does not exist, or belongs to somebody else: the answer is the same."""

    code = "not_there"
    status = 404
    sentence = "There is nothing here under this address."


class FieldRefused(Refusal):
    """One field holds a value that is not accepted."""

    code = "field_refused"
    status = 400
    sentence = "%(field)s: %(value)s is not accepted. %(accepted)s"

    def __init__(self, field: str, value: Any, accepted: str) -> None:
        super().__init__(field=field, value=value, accepted=accepted)


class NeedsKey(Refusal):
    """A request that must not happen twice came without an Idempotency-Key."""

    code = "idempotency_key_missing"
    status = 400
    sentence = "Send an Idempotency-Key header (any text of your own up to 100 characters)."


class KeyReused(Refusal):
    """An Idempotency-Key came again with another body."""

    code = "idempotency_key_reused"
    status = 422
    sentence = "This Idempotency-Key was used for another request. Send a new one."


class ChangedMeanwhile(Refusal):
    """Somebody else changed the row since it was read."""

    code = "changed_meanwhile"
    status = 409
    sentence = "Somebody changed this meanwhile. Look at both versions and save again."
