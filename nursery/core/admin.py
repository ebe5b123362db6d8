"""The back office: what all registers and records in it stand on, and what belongs to no app alone.

It is open to leads who are staff. A register is saved by calling its action, whose refusals are
shown at the fields they are about; nothing is deleted; records of what happened are only shown.
"""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms
from django.contrib import admin
from django.core.exceptions import PermissionDenied
from django.db import models
from django.http import Http404, HttpRequest, HttpResponse
from django.template.response import TemplateResponse

from nursery.access.actors import actor_of
from nursery.access.admin import LeadsOnly
from nursery.core import registers
from nursery.core.actor import Actor
from nursery.core.errors import Trouble
from nursery.core.models import Change, CodeSeries, Event
from nursery.core.views.keeping import keep

admin.site.site_header = "Ramet Register, back office"
admin.site.site_title = "Ramet Register"
admin.site.index_title = "Registers and records"


class RegisterForm(forms.ModelForm):  # type: ignore[type-arg]  # no such thing at run time
    """A register's row. It is valid exactly if the register's action accepted and stored it.

    The back office validates a form once, inside the transaction in which it answers, so that a
    refusal stores nothing.
    """

    version = forms.IntegerField(required=False, widget=forms.HiddenInput)
    keeper: ClassVar[RegisterAdmin]
    actor: ClassVar[Actor]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["version"].initial = self.instance.version if self.instance.pk else None

    def clean(self) -> dict[str, Any]:
        given = dict(self.cleaned_data)
        seen = given.pop("version", None)
        if self.errors:
            return self.cleaned_data
        values = {
            name: list(value) if isinstance(value, models.QuerySet) else value
            for name, value in given.items()
        }
        row = self.instance if self.instance.pk else None
        try:
            self.stored = keep(self.actor, self.keeper.model, values, row, seen)
        except Trouble as trouble:
            for problem in trouble.problems:
                field = problem.field if problem.field in self.fields else None
                self.add_error(field, forms.ValidationError(problem.message, code=problem.code))
        return self.cleaned_data

    def _post_clean(self) -> None:
        """Nothing: the action has validated the row already, and stored it."""

    def save(self, commit: bool = True) -> Any:
        return self.stored

    def save_m2m(self) -> None:
        """Nothing: the action stored these, too."""


class RegisterAdmin(LeadsOnly):
    """A register: list, search, enter, edit; its history is ours."""

    form = RegisterForm
    list_display: Any = ("code", "closed_on")
    search_fields: ClassVar[Any] = ("code",)
    list_filter: ClassVar[Any] = (("closed_on", admin.EmptyFieldListFilter),)
    ordering = ("code",)
    object_history_template = "core/admin_history.html"

    def get_fields(self, request: HttpRequest, obj: Any = None) -> Any:
        return [*registers.editable_fields(self.model), "version"]

    def get_autocomplete_fields(self, request: HttpRequest) -> list[str]:
        fields = registers.editable_fields(self.model)
        return [name for name, field in fields.items() if field.is_relation]

    def get_form(
        self, request: HttpRequest, obj: Any = None, change: bool = False, **kwargs: Any
    ) -> Any:
        # The other fields of the page (`version`, a nursery's `series`) are the form's own.
        kwargs["fields"] = list(registers.editable_fields(self.model))
        form = super().get_form(request, obj, change, **kwargs)
        return type(form.__name__, (form,), {"keeper": self, "actor": actor_of(request)})

    def formfield_for_dbfield(self, db_field: Any, request: HttpRequest, **kwargs: Any) -> Any:
        if isinstance(db_field, models.DecimalField):
            # Measures are written as people write them: 12 ft, 7°15′ N.
            return forms.CharField(
                required=not db_field.blank,
                label=db_field.verbose_name.capitalize(),
                help_text=db_field.help_text,
            )
        return super().formfield_for_dbfield(db_field, request, **kwargs)

    # The action stored everything, and kept the history.

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        return None

    def save_related(self, request: Any, form: Any, formsets: Any, change: Any) -> None:
        return None

    def log_addition(self, request: HttpRequest, obj: Any, message: Any) -> Any:
        return None

    def log_change(self, request: HttpRequest, obj: Any, message: Any) -> Any:
        return None

    def history_view(
        self, request: HttpRequest, object_id: str, extra_context: Any = None
    ) -> HttpResponse:
        """Who changed which field of a row, before and after."""
        row = self.get_object(request, object_id)
        if row is None:
            raise Http404
        if not self.has_view_permission(request, row):
            raise PermissionDenied
        changes = Change.objects.filter(register=self.opts.label_lower, row_id=row.pk)
        context = {
            **self.admin_site.each_context(request),
            "title": f"History of {row}",
            "changes": [(change, fields_of(change)) for change in changes.select_related("by")],
            "row": row,
            "opts": self.opts,
        }
        return TemplateResponse(request, "core/admin_history.html", context)


def fields_of(change: Change) -> list[tuple[str, Any, Any]]:
    """The fields of a change by name, each before and after."""
    before = change.before or {}
    return [(name, before.get(name), value) for name, value in sorted(change.after.items())]


class RecordAdmin(LeadsOnly):
    """Records of what happened: only shown."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Event)
class EventAdmin(RecordAdmin):
    """Headers of events."""

    list_display = ("kind", "earliest", "latest", "done_by", "recorded_by", "recorded_at", "live")
    list_filter = ("kind", "live")
    search_fields = ("uid", "done_by", "note")
    list_select_related = ("recorded_by",)
    date_hierarchy = "earliest"


@admin.register(CodeSeries)
class CodeSeriesAdmin(RecordAdmin):
    """Series that ramet codes come from; the register itself counts them on."""

    list_display = ("prefix", "label", "next_number")
    search_fields = ("prefix", "label")


@admin.register(Change)
class ChangeAdmin(RecordAdmin):
    """The history of all registers."""

    list_display = ("at", "register", "code", "by")
    list_filter = ("register",)
    search_fields = ("code",)
    list_select_related = ("by",)
