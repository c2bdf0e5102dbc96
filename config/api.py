"""Problem details (RFC 9457) for every error of the API, in one place."""

from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpRequest, JsonResponse
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import exception_handler, set_rollback

from buildings.units import UnitRefused
from contractors.refusal import FieldRefused, Refusal
from inspections.events.fields import EventRefused
from inspections.hydraulics.computation import InputRefused

PROBLEM_TYPE = "application/problem+json"


def problem_body(status: int, detail: str, *, code: str = "", **more: Any) -> dict[str, Any]:
    """Return the members of a problem: type, title, status, detail, code and extensions."""
    known = {one.value: one.phrase for one in HTTPStatus}
    title = known.get(status) or code.replace("_", " ").capitalize()
    return {
        "type": f"urn:maindrain:problem:{code}" if code else "about:blank",
        "title": title,
        "status": status,
        "detail": detail,
        **({"code": code} if code else {}),
        **more,
    }


def problem_response(status: int, detail: str, *, code: str = "", **more: Any) -> JsonResponse:
    """Return a problem as a response, for errors outside the API's own views."""
    return JsonResponse(
        problem_body(status, detail, code=code, **more), status=status, content_type=PROBLEM_TYPE
    )


def problem(error: Exception, context: dict[str, Any]) -> Response | None:
    """Turn an exception of an API view into a problem; None lets it be a 500."""
    if isinstance(error, Refusal):
        more: dict[str, Any] = {"facts": {n: str(value) for n, value in error.facts.items()}}
        if isinstance(error, FieldRefused):
            message = {"message": error.message(), "code": error.code}
            more["errors"] = [more["facts"] | message]
        answer = Response(
            problem_body(error.status, error.message(), code=error.code, **more),
            status=error.status,
            headers=None if error.wait is None else {"Retry-After": str(error.wait)},
        )
        set_rollback()
    elif isinstance(error, EventRefused | InputRefused | UnitRefused):
        refused = {"field": error.field, "value": _shown(error.value), "accepted": error.accepted}
        entry = refused | {"message": str(error), "code": "refused"}
        answer = Response(problem_body(400, str(error), code="invalid", errors=[entry]), status=400)
        set_rollback()
    else:
        if isinstance(error, ValidationError):
            error = exceptions.ValidationError(detail=_messages(error))
        elif isinstance(error, Http404):
            error = exceptions.NotFound("There is nothing here under this address.")
        elif isinstance(error, PermissionDenied):
            error = exceptions.PermissionDenied()
        found = exception_handler(error, context)
        if found is None:
            return None
        answer = found
        answer.data = _data(error, answer.status_code, context)
    answer.content_type = PROBLEM_TYPE
    return answer


def _shown(value: Any) -> str | None:
    return None if value is None else str(value)[:200]


def _messages(error: ValidationError) -> Any:
    return error.message_dict if hasattr(error, "error_dict") else error.messages


def _data(error: Exception, status: int, context: dict[str, Any]) -> dict[str, Any]:
    if isinstance(error, exceptions.ValidationError):
        request = context.get("request")
        sent = _sent(request) if request is not None else {}
        errors = list(_fields(error.detail, "", sent))
        detail = "; ".join(
            f"{e['field']}: {e['message']}" if e["field"] else e["message"] for e in errors
        )
        return problem_body(status, detail, code="invalid", errors=errors)
    code = getattr(getattr(error, "detail", None), "code", "") or ""
    return problem_body(status, str(getattr(error, "detail", error)), code=code)


def _sent(request: Any) -> Any:
    """Return what was sent: of a list or a detail, the filters in its address."""
    return request.query_params if request.method in ("GET", "HEAD") else request.data


def _fields(detail: Any, path: str, sent: Any) -> Any:
    """Yield one entry a field: its name, the value sent, what is wrong and accepted."""
    if isinstance(detail, dict):
        for name, inner in detail.items():
            if isinstance(name, int):
                yield from _fields(inner, f"{path}[{name}]", _at(sent, name))
                continue
            below = "" if name == "non_field_errors" else str(name)
            value = sent.get(name) if isinstance(sent, dict) else None
            joined = ".".join(part for part in (path, below) if part)
            yield from _fields(inner, joined, value if below else sent)
    elif isinstance(detail, list):
        for position, inner in enumerate(detail):
            if isinstance(inner, dict | list):
                yield from _fields(inner, f"{path}[{position}]", _at(sent, position))
            else:
                yield from _fields(inner, path, sent)
    else:
        entry = {"field": path, "message": str(detail), "code": getattr(detail, "code", "invalid")}
        if path and isinstance(sent, str | int | float | bool):
            entry["value"] = str(sent)[:200]
        yield entry


def _at(sent: Any, position: int) -> Any:
    return sent[position] if isinstance(sent, list) and position < len(sent) else None


def document_problems(result: dict[str, Any], **kwargs: Any) -> dict[str, Any]:
    """Add the problem responses to every operation of the schema."""
    schemas = result.setdefault("components", {}).setdefault("schemas", {})
    schemas["Problem"] = {
        "type": "object",
        "description": "Problem details, RFC 9457.",
        "required": ["type", "title", "status", "detail"],
        "properties": {
            "type": {"type": "string"},
            "title": {"type": "string"},
            "status": {"type": "integer"},
            "detail": {"type": "string"},
            "code": {"type": "string"},
            "errors": {"type": "array", "items": {"type": "object"}},
        },
    }
    answer = {"content": {PROBLEM_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}}
    for path in result.get("paths", {}).values():
        for operation in path.values():
            if not isinstance(operation, dict):
                continue
            for status in (400, 401, 403, 404, 405, 406, 409, 415, 422, 429):
                phrase = HTTPStatus(status).phrase
                operation["responses"].setdefault(str(status), {"description": phrase, **answer})
    return result


def not_found(request: HttpRequest, error: Exception) -> JsonResponse:
    """Answer an unknown address under /api/."""
    return problem_response(404, "There is nothing here under this address.", code="not_found")
