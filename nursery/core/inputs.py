"""The shape of what comes in: shared field types, the header of an event, and readable faults.

API, loader and pages all build these models and hand them to an action, so that one rule has one
place. They refer to things by code; the actions look the codes up by set.
"""

from __future__ import annotations

import hashlib
import json
import re
import uuid
from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated, Any, TypeVar

from django.utils.translation import gettext_noop as _
from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    PlainSerializer,
    PlainValidator,
    StringConstraints,
    ValidationError,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError

from nursery.core.dates import DateError, When, is_future, latest_today, parse_when
from nursery.core.errors import Problem, Refused
from nursery.core.quantities import QuantityError, parse_depth, parse_length, parse_percent

_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
_CODE = re.compile(r"[A-Z0-9][A-Z0-9._-]*")

LARGEST_CM = Decimal(9999)
"""More than the widest colony ever measured; what a column of sizes holds."""

MOST_NAMES = 500
"""Characters of all names of a header together."""

CODES = {
    "missing": "required",
    "extra_forbidden": "unknown_field",
    "string_too_long": "too_long",
    "string_too_short": "required",
    "too_long": "too_many",
    "too_short": "too_few",
    "int_parsing": "not_a_number",
    "int_type": "not_a_number",
    "int_from_float": "not_a_number",
    "int_parsing_size": "out_of_range",
    "float_parsing": "not_a_number",
    "decimal_parsing": "not_a_number",
    "bool_parsing": "not_yes_or_no",
    "enum": "not_a_choice",
    "literal_error": "not_a_choice",
    "uuid_parsing": "uid_malformed",
    "greater_than_equal": "out_of_range",
    "less_than_equal": "out_of_range",
    "greater_than": "out_of_range",
    "less_than": "out_of_range",
}
"""pydantic's fault types in our words; any other type is called `malformed`."""


def printable(text: str) -> str:
    """The text, or a fault (`control_character`) if it holds NUL or other control characters."""
    if _CONTROL.search(text):
        raise PydanticCustomError(
            "control_character", "the text holds a control character (such as NUL)"
        )
    return text


def _code(text: str) -> str:
    code = text.upper()
    if not _CODE.fullmatch(code):
        raise PydanticCustomError(
            "code_malformed",
            "a code has only letters A–Z, digits, dots, hyphens and underscores, "
            "and starts with a letter or digit",
        )
    return code


def _planned(value: object) -> When:
    if isinstance(value, When):
        return value
    if not isinstance(value, str):
        raise PydanticCustomError("date_malformed", "a date is written as text: 2021-03-04")
    try:
        return parse_when(printable(value))
    except DateError as error:
        raise PydanticCustomError(error.code, "{why}", {"why": str(error)}) from error


def _when(value: object) -> When:
    when = _planned(value)
    if is_future(when, latest_today()):
        raise PydanticCustomError(
            "date_in_future", "{when} has not come yet anywhere", {"when": str(when)}
        )
    return when


def _quantity(parse: Any) -> Any:
    def read(value: object) -> Decimal:
        if isinstance(value, bool) or not isinstance(value, str | int | float | Decimal):
            raise PydanticCustomError("not_a_number", "a number, with its unit if you like")
        try:
            found: Decimal = parse(printable(str(value)))
        except QuantityError as error:
            raise PydanticCustomError(error.code, "{why}", {"why": str(error)}) from error
        return found

    return read


def _centimetres(text: str) -> Decimal:
    found = parse_length(text, default_unit="cm") * 100
    if found > LARGEST_CM:
        raise QuantityError("length_too_great", f"No coral here is that large: {text.strip()}.")
    return found


def _number_text(value: Decimal) -> str:
    return format(value.normalize(), "f")


Line = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=200), AfterValidator(printable)
]
Label = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=40), AfterValidator(printable)
]
Name = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=100),
    AfterValidator(printable),
]
Note = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=4000), AfterValidator(printable)
]
CodeText = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=40),
    AfterValidator(printable),
    AfterValidator(_code),
]
_DATE_SCHEMA = WithJsonSchema(
    {
        "type": "string",
        "description": "ISO 8601: 2021-03-04, 2021-03-04T10:30, 2021-03, 2021, "
        "or a range 2021-03-04/2021-03-09",
        "examples": ["2021-03-04"],
    }
)
WhenField = Annotated[
    When, PlainValidator(_when), PlainSerializer(str, return_type=str), _DATE_SCHEMA
]
"""When something happened: not in the future."""
PlannedField = Annotated[
    When, PlainValidator(_planned), PlainSerializer(str, return_type=str), _DATE_SCHEMA
]
"""When something is meant to happen."""
_TEXT_OR_NUMBER: dict[str, Any] = {"anyOf": [{"type": "number"}, {"type": "string"}]}
Depth = Annotated[
    Decimal,
    PlainValidator(_quantity(parse_depth)),
    PlainSerializer(_number_text, return_type=str),
    WithJsonSchema({**_TEXT_OR_NUMBER, "description": _("metres below the surface, or `12 ft`")}),
]
Centimetres = Annotated[
    Decimal,
    PlainValidator(_quantity(_centimetres)),
    PlainSerializer(_number_text, return_type=str),
    WithJsonSchema({**_TEXT_OR_NUMBER, "description": _("centimetres, or a length with its unit")}),
]
Percent = Annotated[
    Decimal,
    PlainValidator(_quantity(parse_percent)),
    PlainSerializer(_number_text, return_type=str),
    WithJsonSchema({**_TEXT_OR_NUMBER, "description": _("per cent, 0 to 100")}),
]


def _all_kept(names: tuple[str, ...]) -> tuple[str, ...]:
    """The names, or a fault if the header has not room for all of them."""
    if len("; ".join(names)) > MOST_NAMES:
        raise PydanticCustomError("string_too_long", "too long", {"max_length": MOST_NAMES})
    return names


class Given(BaseModel):
    """Base of all inputs: frozen, and a field it does not know is a fault, not ignored."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)


class EventIn(Given):
    """The header of an event. A client that may send twice chooses the `uid` itself."""

    uid: uuid.UUID | None = None
    when: WhenField
    done_by: Annotated[tuple[Name, ...], Field(max_length=20), AfterValidator(_all_kept)] = ()
    permits: Annotated[tuple[CodeText, ...], Field(max_length=20)] = ()
    note: Note = ""


def digest_of(kind: str, given: Given) -> str:
    """SHA-256 over the canonical validated input, without its uid: 64 hexadecimal digits."""
    body = given.model_dump(mode="json", exclude={"uid"})
    text = json.dumps([kind, body], sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def problems_of(error: ValidationError) -> list[Problem]:
    """pydantic's faults as problems with our codes."""
    found = []
    faults = error.errors(include_url=False, include_context=True)
    inner = {fault["loc"][:n] for fault in faults for n in range(len(fault["loc"]))}
    for fault in faults:
        kind = fault["type"]
        # A list of faulty rows is not too short as well: pydantic counts only the good ones.
        if kind == "too_short" and fault["loc"] in inner:
            continue
        path = tuple(part for part in fault["loc"] if part != "__root__")
        custom = kind not in CODES and not _is_builtin(kind)
        code = CODES.get(kind, kind if custom else "malformed")
        found.append(Problem(code, _sentence(kind, fault["msg"], fault.get("ctx") or {}), path))
    return found


def _is_builtin(kind: str) -> bool:
    return kind in _BUILTIN


def _sentence(kind: str, message: str, context: Mapping[str, Any]) -> str:
    """Our own sentence for a built-in fault; a fault of ours brings its own."""
    template = _SENTENCES.get(kind)
    text = template.format(**context) if template else message
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


_SENTENCES = {
    "missing": "This is required.",
    "extra_forbidden": "There is no such field.",
    "string_too_long": "At most {max_length} characters.",
    "string_too_short": "This is required.",
    "too_long": "At most {max_length} in one entry.",
    "too_short": "At least {min_length} is needed.",
    "int_parsing": "A whole number.",
    "int_type": "A whole number.",
    "int_from_float": "A whole number.",
    "bool_parsing": "Yes or no: true or false.",
    "literal_error": "One of {expected}.",
    "uuid_parsing": "No uid: it has 32 hexadecimal digits.",
    "string_type": "A text.",
    "string_unicode": "A text in UTF-8.",
    "dict_type": "An object with named fields.",
    "model_type": "An object with named fields.",
    "model_attributes_type": "An object with named fields.",
    "list_type": "A list.",
    "tuple_type": "A list.",
    "greater_than_equal": "At least {ge}.",
    "less_than_equal": "At most {le}.",
}

_BUILTIN = frozenset(
    [
        "string_type",
        "dict_type",
        "list_type",
        "tuple_type",
        "model_type",
        "model_attributes_type",
        "bool_type",
        "float_type",
        "decimal_type",
        "uuid_type",
        "uuid_version",
        "date_type",
        "date_parsing",
        "value_error",
        "assertion_error",
        "json_invalid",
        "string_unicode",
        "int_from_float",
        "finite_number",
        "union_tag_invalid",
        "date_from_datetime_parsing",
        "date_from_datetime_inexact",
        "decimal_max_digits",
        "iterable_type",
        "decimal_max_places",
        "decimal_whole_digits",
        "string_pattern_mismatch",
        "int_parsing_size",
    ]
)

G = TypeVar("G", bound=Given)


def read(model: type[G], data: Mapping[str, Any] | object) -> G:
    """Validate `data` as `model`; raises Refused with one problem a fault."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise Refused(problems_of(error)) from error
