"""Entering and editing registers: one way in for API, admin, loader and pages.

The fields that may be set are derived from the model: all but its caches, its version and the
fields the ledger owns. References are given by code, values as text or as Python values.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any, TypeAlias, TypeVar, cast

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction

from nursery.core.actor import Actor, require
from nursery.core.coordinates import (
    CoordinateError,
    parse_latitude,
    parse_longitude,
    parse_position,
)
from nursery.core.dates import latest_today
from nursery.core.errors import Conflict, Problem, ProblemList, Refused, Unknown
from nursery.core.models import Change, Register
from nursery.core.quantities import QuantityError, parse_depth, parse_length

R = TypeVar("R", bound=Register)

HAPPENED = frozenset({"found_on", "confirmed_on", "made_on", "received_on", "sent_on"})
"""Dates of things that have happened; others (a permit's end, a closing) may lie ahead."""

_CODE = re.compile(r"[A-Z0-9][A-Z0-9._-]*")
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")
_CONTROL_PROBLEM = Problem("control_character", "The text holds a control character (such as NUL).")
Field: TypeAlias = "models.Field[Any, Any] | models.ManyToManyField[Any, Any]"


def editable_fields(model: type[Register]) -> dict[str, Field]:
    """The fields of a register that people may set, by name, in the order of the model."""
    fields = [*model._meta.fields, *model._meta.many_to_many]
    return {
        field.name: field
        for field in fields
        if field.editable and not field.primary_key and field.name not in model.CACHES
    }


def as_asked(text: str) -> str:
    """A name as it is looked up; PostgreSQL takes no NUL, not even in a question."""
    return text.strip().replace("\x00", "\ufffd")


def find(model: type[R], code: str, **within: Any) -> R:
    """The row with this code (any case); raises Unknown (`unknown_<register>`)."""
    row = model._default_manager.filter(code=as_asked(code).upper()[:60], **within).first()
    if row is None:
        name = model._meta.verbose_name
        raise Unknown(Problem(f"unknown_{model._meta.model_name}", f"There is no {name} {code!r}."))
    return row


def as_json(value: Any) -> Any:
    """A field's value as history keeps it."""
    if isinstance(value, Register):
        return value.code
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, Decimal):
        # 25 and 25.0 are no change.
        return format(value.normalize(), "f")
    if isinstance(value, list | tuple):
        return sorted(as_json(item) for item in value)
    return value


def snapshot(row: Register) -> dict[str, Any]:
    """The settable values of a stored row, as history keeps them."""
    values: dict[str, Any] = {}
    for name, field in editable_fields(type(row)).items():
        if field.many_to_many:
            values[name] = as_json(list(getattr(row, name).all()))
        else:
            values[name] = as_json(getattr(row, name))
    return values


def parse(model: type[Register], given: Mapping[str, Any]) -> dict[str, Any]:
    """Given values as Python values and rows; raises Refused with one problem a field."""
    fields = editable_fields(model)
    problems = ProblemList()
    values: dict[str, Any] = {}
    # First, for a latitude of 155 degrees alone would only be out of range.
    _refuse_swapped(given)
    for name, raw in model.prepare(given).items():
        field = fields.get(name)
        if field is None:
            problems.add("unknown_field", f"{model._meta.verbose_name} has no field {name}.", name)
            continue
        try:
            values[name] = _value(field, raw)
        except Refused as refusal:
            for problem in refusal.problems:
                problems.items.append(problem.under(name))
        except ValidationError as error:
            code = _error_code(error)
            problems.add(code, f"{field.verbose_name}: {' '.join(error.messages)}", name)
    problems.raise_if_any()
    return values


def _refuse_swapped(given: Mapping[str, Any]) -> None:
    """Refuse (`coordinates_swapped`) a pair of which each half is possible only in the other."""
    latitude, longitude = given.get("latitude"), given.get("longitude")
    if latitude in (None, "") or longitude in (None, ""):
        return
    try:
        parse_position(str(latitude), str(longitude))
    except CoordinateError as error:
        if error.code == "coordinates_swapped":
            raise Refused(Problem(error.code, str(error), ("latitude",))) from error


def create(actor: Actor, model: type[R], given: Mapping[str, Any]) -> R:
    """Enter one register row. Raises NotAllowed, or Refused with one problem a field."""
    require(actor, *model.WRITERS, act=model.ACT)
    return write(actor, model(), given)


def edit(actor: Actor, row: R, given: Mapping[str, Any], seen_version: int | None = None) -> R:
    """Change the given fields of a row and nothing else; the row is read again under lock.

    `seen_version` is the version the person looked at: where somebody else has saved since,
    raises Conflict (`edited_meanwhile`) and nothing is overwritten.
    """
    require(actor, *type(row).WRITERS, act=type(row).ACT)
    return write(actor, row, given, seen_version)


@transaction.atomic
def write(actor: Actor, row: R, given: Mapping[str, Any], seen_version: int | None = None) -> R:
    """Store a row and its history; the caller has checked permission."""
    model = type(row)
    fresh = row.pk is None
    values = parse(model, given)
    before: dict[str, Any] = {}
    if not fresh:
        row = model._default_manager.select_for_update().get(pk=row.pk)
        if seen_version is not None and seen_version != row.version:
            raise Conflict(
                Problem(
                    "edited_meanwhile",
                    f"{row.code} was changed by somebody else since you opened it. "
                    "Look at the new values and enter yours again.",
                )
            )
        before = snapshot(row)
    many = {
        name: values.pop(name)
        for name in list(values)
        if isinstance(values[name], list) and editable_fields(model)[name].many_to_many
    }
    for name, value in values.items():
        setattr(row, name, value)
    _validate(row)
    if not fresh:
        row.version += 1
    try:
        with transaction.atomic():
            row.save(force_insert=fresh)
    except IntegrityError as error:
        raise Refused(
            Problem(
                "code_taken", f"{model._meta.verbose_name} {row.code} exists already.", ("code",)
            )
        ) from error
    for name, rows in many.items():
        getattr(row, name).set(rows)
    keep_history(actor, row, before, snapshot(row))
    return row


def keep_history(
    actor: Actor, row: Register, before: dict[str, Any], after: dict[str, Any]
) -> None:
    """Keep who changed what: the fields that differ, before and after."""
    changed = {name for name in after if name not in before or before[name] != after[name]}
    if not changed:
        return
    Change.objects.create(
        register=row._meta.label_lower,
        row_id=row.pk,
        code=row.code,
        by_id=actor.user_id,
        before={name: before[name] for name in sorted(changed)} if before else None,
        after={name: after[name] for name in sorted(changed)},
    )


def _value(field: Field, raw: Any) -> Any:
    if field.many_to_many:
        return _referred(field, raw)
    if field.is_relation:
        if raw in (None, ""):
            return field.clean(None, None)
        rows = _referred(field, [raw])
        return rows[0]
    if isinstance(raw, dict | list | bool) and not _takes(field, raw):
        raise Refused(Problem("malformed", f"{field.verbose_name} is one text or number."))
    if field.name == "code" and raw is not None:
        raw = str(raw)
    if isinstance(field, models.DateField) and isinstance(raw, int | float):
        raise Refused(Problem("malformed", f"{field.verbose_name} is a date: 2021-03-04."))
    if isinstance(raw, int | float) and isinstance(field, models.DecimalField):
        # As its digits, so that it is rounded like a number that came as text.
        raw = str(raw)
    if isinstance(raw, float) and isinstance(field, models.IntegerField):
        # Not cut down to a whole number in silence.
        raw = str(raw)
    if isinstance(raw, str):
        raw = raw.strip()
        if _CONTROL.search(raw):
            raise Refused(_CONTROL_PROBLEM)
        if field.name == "code":
            raw = raw.upper()
            if raw and not _CODE.fullmatch(raw):
                raise Refused(
                    Problem(
                        "code_malformed",
                        f"{raw!r} is no code: letters A–Z, digits, dots, hyphens and underscores, "
                        "starting with a letter or digit.",
                    )
                )
        if raw == "" and field.null:
            raw = None
        elif raw == "" and field.has_default() and not field.blank:
            return field.get_default()
        if isinstance(field, models.DecimalField) and raw:
            return field.clean(_measure(field, raw), None)
    if field.choices and isinstance(raw, str):
        raw = _choice(field, raw)
    value = field.clean(raw, None)
    if isinstance(value, date) and field.name in HAPPENED and value > latest_today():
        raise Refused(Problem("date_in_future", f"{value} has not come yet anywhere."))
    return value


def _takes(field: Field, raw: Any) -> bool:
    """Whether the field is one of those that hold lists, objects or yes and no."""
    if isinstance(raw, bool):
        return isinstance(field, models.BooleanField | models.JSONField)
    return isinstance(field, models.JSONField)


def _measure(field: models.DecimalField[Any, Any], text: str) -> Decimal | str:
    """A measure as people write it, in the unit that the field's name ends with.

    Latitudes and longitudes in any usual notation, lengths with their unit (`12 ft`).
    """
    try:
        if field.name == "latitude":
            return Decimal(repr(parse_latitude(text))).quantize(Decimal("0.000001"))
        if field.name == "longitude":
            return Decimal(repr(parse_longitude(text))).quantize(Decimal("0.000001"))
        if field.name == "depth_m":
            return parse_depth(text).quantize(Decimal("0.1"))
        if field.name.endswith("_m"):
            return parse_length(text).quantize(Decimal("0.1"))
        if field.name.endswith("_cm"):
            return (parse_length(text, default_unit="cm") * 100).quantize(Decimal("0.1"))
    except CoordinateError as error:
        raise Refused(Problem(error.code, str(error))) from error
    except QuantityError as error:
        raise Refused(Problem(error.code, str(error))) from error
    return text


def _choice(field: Field, word: str) -> Any:
    """A choice given by its word: the member's value, its label, or its name."""
    flat = {str(value).lower(): value for value, _ in field.flatchoices}
    labels = {str(label).lower().replace(" ", "_"): value for value, label in field.flatchoices}
    key = word.lower().replace(" ", "_")
    if key in flat:
        return flat[key]
    if key in labels:
        return labels[key]
    if word == "":
        return word
    raise Refused(Problem("not_a_choice", f"{word!r} is none of: {', '.join(sorted(labels))}."))


def _referred(field: Field, raw: Any) -> list[Any]:
    # Every relation of a register leads to a register, which has a code.
    model = cast("type[Register]", field.related_model)
    if isinstance(raw, str):
        raw = [part for part in raw.replace(",", ";").split(";") if part.strip()]
    if not isinstance(raw, list | tuple):
        raise Refused(Problem("malformed", f"{field.verbose_name} is a list of codes."))
    rows = [item for item in raw if isinstance(item, models.Model)]
    codes = [str(item).strip().upper()[:60] for item in raw if not isinstance(item, models.Model)]
    if any(_CONTROL.search(code) for code in codes):
        raise Refused(_CONTROL_PROBLEM)
    if codes:
        by_code = {str(row.code): row for row in model._default_manager.filter(code__in=codes)}
        missing = [code for code in codes if code not in by_code]
        if missing:
            name = model._meta.verbose_name
            raise Refused(
                Problem(
                    f"unknown_{model._meta.model_name}",
                    f"There is no {name} {', '.join(missing)}.",
                )
            )
        rows += [by_code[code] for code in codes]
    return rows


def _validate(row: Register) -> None:
    try:
        row.full_clean()
    except ValidationError as error:
        problems = ProblemList()
        for name, faults in error.error_dict.items():
            for fault in faults:
                code = "code_taken" if _about_code(fault) else _error_code(fault)
                field = "" if name == "__all__" else name
                text = " ".join(fault.messages)
                if code == "code_taken":
                    text = f"{row._meta.verbose_name} {row.code} exists already."
                problems.add(code, text, *([field] if field else []))
        problems.raise_if_any()


def _about_code(fault: ValidationError) -> bool:
    checked = (fault.params or {}).get("unique_check") if isinstance(fault.params, dict) else None
    return fault.code in ("unique", "unique_together") and "code" in (checked or ("code",))


_FAULTS = {
    "blank": "required",
    "null": "required",
    "max_length": "too_long",
    "invalid": "malformed",
    "invalid_choice": "not_a_choice",
    "invalid_date": "date_impossible",
    "max_decimal_places": "out_of_range",
    "max_digits": "out_of_range",
    "max_value": "out_of_range",
    "max_whole_digits": "out_of_range",
    "min_value": "out_of_range",
}


def _error_code(error: ValidationError) -> str:
    code = getattr(error, "code", None)
    if code is None and getattr(error, "error_list", None):
        code = error.error_list[0].code
    return _FAULTS.get(str(code), str(code) if code else "malformed")
