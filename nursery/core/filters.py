"""Strict lists: a parameter that is not known, or not understood, is refused and never ignored.

A list that silently left out a mistyped filter would answer another question than the one asked.
The filters here speak the outside language: codes instead of ids, words instead of numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

import django_filters
from django import forms
from django.db.models import F, Model, QuerySet
from django.utils.translation import gettext_lazy
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework.filters import BaseFilterBackend
from rest_framework.request import Request
from rest_framework.views import APIView

from nursery.core.dates import DateError, When, parse_when
from nursery.core.errors import Problem
from nursery.core.models import EventKind
from nursery.core.problems import ParameterRefused
from nursery.core.words import Word
from nursery.donors.models import Permit

M = TypeVar("M", bound=Model)

ORDERING = "ordering"
LARGEST_INTEGER = 2_147_483_647
_FAULTS = {
    "invalid": "malformed",
    "invalid_choice": "not_a_choice",
    "max_length": "too_long",
    "max_value": "out_of_range",
    "min_value": "out_of_range",
    "null_characters_not_allowed": "control_character",
}


def refuse_unknown(request: Request, known: Iterable[str]) -> None:
    """Refuse parameters that are unknown, given twice or empty; the message lists the known ones.

    Raises ParameterRefused (`unknown_parameter`, `repeated_parameter`, `empty_parameter`).
    """
    names = sorted(known)
    problems = []
    for name, values in request.query_params.lists():
        if name not in names:
            listed = f"Known here: {', '.join(names)}." if names else "None is known here."
            message = f"There is no parameter {name[:60]!r}. {listed}"
            problems.append(Problem("unknown_parameter", message, (name,)))
        elif len(values) > 1:
            problems.append(Problem("repeated_parameter", f"{name} is given twice.", (name,)))
        elif not values[0].strip():
            message = f"{name} is empty. Leave it out, or give it a value."
            problems.append(Problem("empty_parameter", message, (name,)))
    if problems:
        raise ParameterRefused(problems)


class StrictFilterBackend(DjangoFilterBackend):  # type: ignore[misc]  # it carries no types
    """The filter set of a view, refusing what it does not know or understand."""

    def filter_queryset(self, request: Request, queryset: QuerySet[M], view: APIView) -> Any:
        filters = self.get_filterset(request, queryset, view)
        known = set(filters.base_filters) if filters is not None else set()
        if getattr(view, "ordering_fields", None):
            known.add(ORDERING)
        paginator = getattr(view, "paginator", None)
        if paginator is not None:
            known |= {paginator.limit_query_param, paginator.offset_query_param}
        known |= getattr(view, "parameters", frozenset())
        refuse_unknown(request, known)
        if filters is None:
            return queryset
        if not filters.is_valid():
            raise ParameterRefused(_faults(filters.form))
        return filters.qs


class StrictOrdering(BaseFilterBackend):
    """`ordering=name` or `-name`, several with commas, over the view's `ordering_fields` only.

    Those are outside names and the model's paths. The key comes last always, so that no row is
    on two pages; rows without a value come last on both databases.
    """

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: APIView) -> Any:
        fields: Mapping[str, str] = getattr(view, "ordering_fields", {})
        text = request.query_params.get(ORDERING)
        if text is None:
            default = getattr(view, "default_ordering", None)
            return queryset.order_by(*default) if default else queryset
        order: list[Any] = []
        for part in text.split(","):
            name = part.strip()
            path = fields.get(name.removeprefix("-"))
            if path is None:
                raise ParameterRefused(
                    Problem(
                        "unknown_ordering",
                        f"Cannot order by {name[:60]!r}. Known here: {', '.join(sorted(fields))}; "
                        "with - in front, the other way round.",
                        (ORDERING,),
                    )
                )
            field = F(path)
            down = name.startswith("-")
            order.append(field.desc(nulls_last=True) if down else field.asc(nulls_last=True))
        return queryset.order_by(*order, "pk")

    def get_schema_operation_parameters(self, view: APIView) -> list[dict[str, Any]]:
        fields = sorted(getattr(view, "ordering_fields", {}))
        if not fields:
            return []
        words = ", ".join(fields)
        return [
            {
                "name": ORDERING,
                "in": "query",
                "required": False,
                "description": f"Any of {words}; with - in front, the other way round.",
                "schema": {"type": "string"},
            }
        ]


def _faults(form: forms.Form) -> list[Problem]:
    found = []
    for name, faults in form.errors.as_data().items():
        for fault in faults:
            code = str(fault.code or "malformed")
            message = f"{name}: {' '.join(fault.messages)}"
            found.append(Problem(_FAULTS.get(code, code), message, (name,)))
    return found


class FilterSet(django_filters.FilterSet):  # type: ignore[misc]  # it carries no types
    """Base of all filter sets."""


class _CodeField(forms.CharField):
    def __init__(self, *, model: type[Model], slug: str = "code", **options: Any) -> None:
        super().__init__(max_length=60, **options)
        self.model = model
        self.slug = slug

    def clean(self, value: Any) -> Any:
        text = super().clean(value).upper()
        if not text:
            return None
        rows = self.model._default_manager.filter(**{self.slug: text})
        pk = rows.values_list("pk", flat=True).first()
        if pk is None:
            name = self.model._meta.verbose_name
            raise forms.ValidationError(
                f"There is no {name} {text}.", code=f"unknown_{self.model._meta.model_name}"
            )
        return pk


class _WhenField(forms.CharField):
    def clean(self, value: Any) -> When | None:
        text = super().clean(value)
        try:
            return parse_when(text) if text else None
        except DateError as error:
            raise forms.ValidationError(error.message, code=error.code) from error


@extend_schema_field(OpenApiTypes.STR)
class CodeFilter(django_filters.Filter):  # type: ignore[misc]
    """Rows that refer to the thing of this code. A code that nothing has is refused."""

    field_class = _CodeField


class WordFilter(django_filters.ChoiceFilter):  # type: ignore[misc]
    """One word of a closed set that is stored as a number."""

    def __init__(self, *args: Any, word: type[Word], **options: Any) -> None:
        self.word = word
        choices = [(member.word, gettext_lazy(member.label)) for member in word]
        super().__init__(*args, choices=choices, **options)

    def filter(self, qs: QuerySet[M], value: str) -> Any:
        return super().filter(qs, self.word.of(value).value if value else value)


@extend_schema_field(OpenApiTypes.INT)
class WholeFilter(django_filters.Filter):  # type: ignore[misc]
    """A whole number, not below 0."""

    field_class = forms.IntegerField

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, min_value=0, max_value=LARGEST_INTEGER, **options)


class WordyFlagField(forms.CharField):
    """`true` or `false`, nothing else."""

    def clean(self, value: Any) -> bool | None:
        text = str(super().clean(value)).lower()
        if not text:
            return None
        if text not in ("true", "false"):
            raise forms.ValidationError("true or false.", code="not_yes_or_no")
        return text == "true"


@extend_schema_field(OpenApiTypes.BOOL)
class FlagFilter(django_filters.Filter):  # type: ignore[misc]
    """`true` or `false`."""

    field_class = WordyFlagField


@extend_schema_field(OpenApiTypes.BOOL)
class OpenFilter(FlagFilter):
    """`true`: not closed by a date; `false`: closed."""

    def filter(self, qs: QuerySet[M], value: bool | None) -> Any:
        return qs if value is None else qs.filter(**{f"{self.field_name}__isnull": value})


@extend_schema_field(OpenApiTypes.STR)
class TextFilter(django_filters.Filter):  # type: ignore[misc]
    """Rows whose text holds this one, in any case."""

    field_class = forms.CharField

    def __init__(self, *args: Any, **options: Any) -> None:
        options.setdefault("lookup_expr", "icontains")
        super().__init__(*args, max_length=200, **options)


@extend_schema_field(OpenApiTypes.STR)
class WhenFilter(django_filters.Filter):  # type: ignore[misc]
    """Events that may have happened then: 2021, 2021-03, 2021-03-04, 2021-03-01/2021-04-15."""

    field_class = _WhenField

    def filter(self, qs: QuerySet[M], value: When | None) -> Any:
        if value is None:
            return qs
        before = f"{self.field_name}earliest__lte"
        after = f"{self.field_name}latest__gte"
        return qs.filter(**{before: value.latest, after: value.earliest})


def register_filters(model: type[Model]) -> type[FilterSet]:
    """The filter set of a register: one filter a reference and choice, `open` and `name`."""
    filters: dict[str, Any] = {}
    for field in model._meta.fields:
        if field.is_relation and field.related_model is not None:
            related = field.related_model
            names = {each.name for each in related._meta.fields}
            if "code" in names:
                filters[field.name] = CodeFilter(field_name=field.name, model=related)
        elif field.choices:
            filters[field.name] = django_filters.ChoiceFilter(
                field_name=field.name, choices=list(field.flatchoices)
            )
        elif field.name == "name":
            filters["name"] = TextFilter(field_name="name")
        elif field.name == "closed_on":
            filters["open"] = OpenFilter(field_name="closed_on")
    return type(f"{model.__name__}Filters", (FilterSet,), filters)


def event_filters(prefix: str = "event__") -> dict[str, Any]:
    """The filters that lists of all kinds of events have, for a path that leads to the header."""
    return {
        "when": WhenFilter(field_name=prefix),
        "live": FlagFilter(field_name=f"{prefix}live"),
        "done_by": TextFilter(field_name=f"{prefix}done_by"),
        "permit": CodeFilter(field_name=f"{prefix}permit_links__permit", model=Permit),
        "recorded_by": TextFilter(
            field_name=f"{prefix}recorded_by__username", lookup_expr="iexact"
        ),
    }


class KindFilter(WordFilter):
    """The kind of an event."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, word=EventKind, **options)
