"""How the API tells what went wrong: problem details (RFC 9457), the same shape for everything.

Besides the standard's members a problem has `code`, stable and for programs, and `errors`: one
entry a fault with its code, a sentence, and where in the body it is (JSON Pointer, row, field).
Where an entry cannot stand beside another one, `in_the_way` says which that is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.views import defaults
from rest_framework import exceptions, serializers

from nursery.core.errors import Path, Problem, Refused, Trouble
from nursery.core.models import Event

CONTENT_TYPE = "application/problem+json"
API_PREFIX = "/api/"
_TYPE = "urn:ramet-register:problem:"
_NON_FIELD = "non_field_errors"

CODES = {
    "blank": "required",
    "csrf": "csrf_failed",
    "error": "server_error",
    "invalid": "malformed",
    "invalid_choice": "not_a_choice",
    "max_length": "too_long",
    "null": "required",
    "parse_error": "json_malformed",
    "permission_denied": "not_allowed",
}
"""The framework's codes in our words; any other is kept."""


class ParameterRefused(Refused):
    """A parameter of the address is wrong; each problem's path is the parameter's name."""

    title = "The address was refused"


class BodyTooLarge(Trouble):
    """More was sent than one call may hold."""

    status = 413
    title = "Too much in one call"


class ErrorSerializer(serializers.Serializer[Any]):
    """One fault. `pointer` is a JSON Pointer into the body, null for a parameter of the address."""

    code = serializers.CharField()
    detail = serializers.CharField()
    pointer = serializers.CharField(allow_null=True)
    row = serializers.IntegerField(allow_null=True)
    field = serializers.CharField(allow_null=True)


class InTheWaySerializer(serializers.Serializer[Any]):
    """The event that what was sent cannot stand beside: correct that one first, or otherwise."""

    uid = serializers.UUIDField()
    kind = serializers.CharField()
    when = serializers.CharField(help_text="ISO 8601, as exact as it is known")


class ProblemSerializer(serializers.Serializer[Any]):
    """Problem details (RFC 9457). `in_the_way` is there only where another event is."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    code = serializers.CharField()
    errors = ErrorSerializer(many=True)  # type: ignore[assignment]  # the standard's word
    in_the_way = InTheWaySerializer(required=False)


def details(
    status: int,
    title: str,
    problems: Sequence[Problem],
    *,
    in_body: bool = True,
    in_the_way: Event | None = None,
) -> dict[str, Any]:
    """The body of a problem response; `in_body` says that the paths lead into what was sent."""
    first = problems[0]
    text = first.message
    if len(problems) > 1:
        text = f"{len(problems)} problems. The first: {text}"
    body: dict[str, Any] = {
        "type": f"{_TYPE}{first.code}",
        "title": title,
        "status": status,
        "detail": text,
        "code": first.code,
        "errors": [
            {
                "code": problem.code,
                "detail": problem.message,
                "pointer": problem.pointer if in_body and problem.path else None,
                "row": problem.row,
                "field": problem.field or None,
            }
            for problem in problems
        ],
    }
    if in_the_way is not None:
        body["in_the_way"] = {
            "uid": str(in_the_way.uid),
            "kind": in_the_way.kind_word,
            "when": str(in_the_way.when),
        }
    return body


def handler(error: Exception, context: Mapping[str, Any]) -> JsonResponse | None:
    """The framework's exception handler; None (a fault of ours) goes on to Django as a 500.

    The answer is JSON also where the address would have given a page or YAML.
    """
    headers: dict[str, str] = {}
    in_body = True
    blocking: Event | None = None
    if isinstance(error, Trouble):
        status, title, problems = error.status, error.title, error.problems
        # What says which event is in the way stands in an app above this one.
        blocking = getattr(error, "event", None)
        in_body = not isinstance(error, ParameterRefused)
    elif isinstance(error, RequestDataTooBig):
        status, title = BodyTooLarge.status, BodyTooLarge.title
        problems = [Problem("body_too_large", "The body is larger than one call may send.")]
    else:
        if isinstance(error, Http404):
            error = exceptions.NotFound()
        elif isinstance(error, PermissionDenied):
            error = exceptions.PermissionDenied(*error.args)
        if not isinstance(error, exceptions.APIException):
            return None
        status, title = error.status_code, HTTPStatus(error.status_code).phrase
        problems = list(_problems(error.detail, ()))
        if challenge := getattr(error, "auth_header", None):
            headers["WWW-Authenticate"] = challenge
        if wait := getattr(error, "wait", None):
            headers["Retry-After"] = f"{wait:.0f}"
    body = details(status, title, problems, in_body=in_body, in_the_way=blocking)
    return JsonResponse(body, status=status, headers=headers, content_type=CONTENT_TYPE)


def server_error(request: HttpRequest) -> HttpResponse:
    """What is said of a fault of ours: a problem under the API, a page elsewhere (`handler500`)."""
    if not request.path.startswith(API_PREFIX):
        return defaults.server_error(request)
    problem = Problem(
        "server_error", "This is a fault of the register, not of what you sent. It was logged."
    )
    status = HTTPStatus.INTERNAL_SERVER_ERROR
    return JsonResponse(
        details(status, status.phrase, [problem]), status=status, content_type=CONTENT_TYPE
    )


def _problems(detail: Any, path: Path) -> Iterator[Problem]:
    """The framework's nested faults, one by one."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            yield from _problems(inner, path if name == _NON_FIELD else (*path, name))
    elif isinstance(detail, list | tuple):
        for place, inner in enumerate(detail):
            nested = isinstance(inner, Mapping | list | tuple)
            yield from _problems(inner, (*path, place) if nested else path)
    else:
        code = str(getattr(detail, "code", "malformed"))
        if str(detail).startswith("CSRF Failed"):
            code = "csrf"
        yield Problem(CODES.get(code, code), str(detail), path)
