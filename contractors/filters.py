"""What a list is narrowed by: a wrong filter is named, and the right ones beside it still hold."""

from typing import Any

from django.forms import BaseForm

from contractors.refusal import FieldRefused


def given(form: BaseForm) -> dict[str, Any]:
    """Return the filters that can be used; a wrong one is left out, and its field says why."""
    form.is_valid()
    return form.cleaned_data


def refuse_wrong(form: BaseForm) -> None:
    """Refuse wrong fields where the answer could not say which of them it left out, as in a file.

    Raises
    ------
    FieldRefused
        Naming the first wrong field, its value and what is accepted.
    """
    for name, errors in form.errors.items():
        raise FieldRefused(name, form.data.get(name, ""), str(errors[0]))
