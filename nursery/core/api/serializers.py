"""How rows are shown, derived from the models: no list of fields is written twice.

References are shown as codes, closed sets as words, a person as the name of the log-in.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any, cast

from django.contrib.auth.models import AbstractBaseUser
from django.db import models
from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from nursery.core.models import CodeSeries, Event, Register
from nursery.core.registers import editable_fields

AnyField = serializers.Field[Any, Any, Any, Any]
AnySerializer = serializers.Serializer[Any]

TEXT_OR_NUMBER = "a number, or text with its unit (`12 ft`) or in any usual notation"


class WordField(serializers.ChoiceField):
    """A number of a closed set as its word."""

    def __init__(self, pairs: Collection[tuple[int, str]], **options: Any) -> None:
        self.words = {number: label.replace(" ", "_") for number, label in pairs}
        super().__init__(choices=list(self.words.values()), read_only=True, **options)

    def to_representation(self, value: Any) -> Any:
        return self.words.get(value)


@extend_schema_field({"type": "array", "items": {"type": "string"}})
class PermitCodes(serializers.Field[Any, Any, Any, Any]):
    """The codes of the permits that an event was done under."""

    def to_representation(self, value: Any) -> list[str]:
        return sorted(link.permit.code for link in value.all())


def slug_of(model: type[models.Model]) -> str:
    """The field by which the outside names a row of the model."""
    if issubclass(model, AbstractBaseUser):
        return "username"
    if issubclass(model, Event):
        return "uid"
    return "prefix" if issubclass(model, CodeSeries) else "code"


def shown_fields(
    model: type[models.Model], hide: Collection[str] = ()
) -> dict[str, models.Field[Any, Any]]:
    """The stored fields of a model that are shown, by name: all but its key and `hide`."""
    fields = [*model._meta.fields, *model._meta.many_to_many]
    return {
        field.name: field for field in fields if not field.primary_key and field.name not in hide
    }


def derived_serializer(
    model: type[models.Model],
    *,
    name: str = "",
    hide: Collection[str] = (),
    first: Mapping[str, AnyField] | None = None,
    also: Mapping[str, AnyField] | None = None,
) -> type[AnySerializer]:
    """A read serializer of a model's fields; `first` and `also` stand before and after them."""
    first, also = dict(first or {}), dict(also or {})
    declared: dict[str, Any] = {}
    for each, field in shown_fields(model, hide).items():
        if each in first or each in also:
            continue
        if field.is_relation:
            related = cast("type[models.Model]", field.related_model)
            declared[each] = serializers.SlugRelatedField(
                slug_field=slug_of(related), read_only=True, many=field.many_to_many or False
            )
        elif field.choices and isinstance(field, models.IntegerField):
            declared[each] = WordField(cast("list[tuple[int, str]]", list(field.flatchoices)))
    names = [each for each in shown_fields(model, hide) if each not in first and each not in also]
    meta = type("Meta", (), {"model": model, "fields": [*first, *names, *also]})
    attributes = {**first, **declared, **also, "Meta": meta, "__doc__": model.__doc__}
    bases = (serializers.ModelSerializer,)
    return cast(
        "type[AnySerializer]",
        type(f"{name or model.__name__}Serializer", bases, attributes),
    )


def derived_queryset(model: type[models.Model], hide: Collection[str] = ()) -> QuerySet[Any]:
    """Rows with all that `derived_serializer` shows, in one query and one for each many-to-many."""
    fields = shown_fields(model, hide).values()
    joined = [field.name for field in fields if field.is_relation and not field.many_to_many]
    apart = [field.name for field in fields if field.many_to_many]
    rows = model._default_manager.all()
    if joined:
        rows = rows.select_related(*joined)
    return rows.prefetch_related(*apart) if apart else rows


def header_fields(path: str = "event") -> dict[str, AnyField]:
    """What is shown of an event's header, for a row that leads to it by `path` ("": itself)."""

    def at(name: str, same: bool = False) -> dict[str, Any]:
        if path:
            return {"source": f"{path}.{name}", "read_only": True}
        return {"read_only": True} if same else {"source": name, "read_only": True}

    return {
        "uid": serializers.UUIDField(**at("uid", same=True)),
        "kind": serializers.CharField(**at("kind_word")),
        "when": serializers.CharField(
            help_text="ISO 8601, as exact as it is known", **at("when", same=True)
        ),
        "earliest": serializers.DateField(**at("earliest", same=True)),
        "latest": serializers.DateField(**at("latest", same=True)),
        "time": serializers.TimeField(**at("time", same=True), allow_null=True),
        "recorded_at": serializers.DateTimeField(**at("recorded_at", same=True)),
        "recorded_by": serializers.CharField(**at("recorded_by.username")),
        "done_by": serializers.ListField(child=serializers.CharField(), **at("people")),
        "permits": PermitCodes(**at("permit_links")),
        "note": serializers.CharField(**at("note", same=True)),
        "live": serializers.BooleanField(
            help_text="false where it was found not to have happened", **at("live", same=True)
        ),
    }


def event_queryset(
    model: type[models.Model], path: str = "event", hide: Collection[str] = ()
) -> QuerySet[Any]:
    """Particulars of events with their headers and permits, in three queries."""
    header = f"{path}__" if path else ""
    return (
        derived_queryset(model, {"event", *hide})
        .select_related(f"{header}recorded_by")
        .prefetch_related(f"{header}permit_links__permit")
    )


def write_serializer(
    model: type[Register], also: Mapping[str, AnyField] | None = None
) -> type[AnySerializer]:
    """The form of what may be sent for a register row: for the API's description alone.

    What is sent is read by `nursery.core.registers`, which says what is wrong in its own words.
    """
    fields: dict[str, Any] = {}
    for name, field in editable_fields(model).items():
        options: dict[str, Any] = {
            "required": not (field.blank or field.null or field.has_default()),
            "allow_null": field.null,
            "help_text": str(field.help_text),
        }
        if field.many_to_many:
            codes = serializers.CharField()
            fields[name] = serializers.ListField(child=codes, required=False)
        elif field.is_relation:
            options["help_text"] = f"code; {field.help_text}".removesuffix("; ")
            fields[name] = serializers.CharField(**options)
        elif field.choices:
            words = [str(value) for value, _ in field.flatchoices]
            fields[name] = serializers.ChoiceField(choices=words, **options)
        elif isinstance(field, models.DateField):
            fields[name] = serializers.DateField(**options)
        elif isinstance(field, models.DecimalField):
            options["help_text"] = f"{field.help_text}; {TEXT_OR_NUMBER}".removeprefix("; ")
            fields[name] = serializers.CharField(**options)
        elif isinstance(field, models.IntegerField):
            fields[name] = serializers.IntegerField(**options)
        elif isinstance(field, models.JSONField):
            fields[name] = serializers.JSONField(**options)
        else:
            fields[name] = serializers.CharField(max_length=field.max_length, **options)
    return cast(
        "type[AnySerializer]",
        type(
            f"{model.__name__}WriteSerializer",
            (serializers.Serializer,),
            {**fields, **(also or {}), "__doc__": model.__doc__},
        ),
    )
