"""The back office of people, roles and tokens: for leads, and every write is an action."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import admin, messages
from django.contrib.auth.password_validation import validate_password
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.template.response import TemplateResponse

from nursery.access.actions import (
    grant_role,
    issue_token,
    save_person,
    withdraw_role,
    withdraw_token,
)
from nursery.access.actors import actor_of
from nursery.access.inputs import MAX_DAYS
from nursery.access.models import Membership, Token
from nursery.core.errors import Trouble
from nursery.core.models import User


class LeadsOnly(admin.ModelAdmin):  # type: ignore[type-arg]  # no such thing at run time
    """Open to leads, whatever Django's own permissions say; refusals of actions are shown."""

    actions: Any = None

    def has_module_permission(self, request: HttpRequest) -> bool:
        return actor_of(request).leads

    def has_view_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return actor_of(request).leads

    def has_add_permission(self, request: HttpRequest) -> bool:
        return actor_of(request).leads

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return actor_of(request).leads

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def changeform_view(self, request: HttpRequest, *args: Any, **options: Any) -> Any:
        try:
            return super().changeform_view(request, *args, **options)
        except Trouble as trouble:
            return self._refused(request, trouble)

    def delete_view(self, request: HttpRequest, *args: Any, **options: Any) -> Any:
        try:
            return super().delete_view(request, *args, **options)
        except Trouble as trouble:
            return self._refused(request, trouble)

    def _refused(self, request: HttpRequest, trouble: Trouble) -> HttpResponse:
        for problem in trouble.problems:
            self.message_user(request, problem.message, messages.ERROR)
        return HttpResponseRedirect(request.get_full_path())


class PersonForm(forms.ModelForm):  # type: ignore[type-arg]  # no such thing at run time
    """A log-in, with a new password where one is wanted."""

    new_password = forms.CharField(
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="Leave it empty to keep the present one.",
    )

    class Meta:
        model = User
        fields = ("username", "first_name", "last_name", "email", "is_active", "is_staff")

    def clean_new_password(self) -> str:
        password: str = self.cleaned_data["new_password"]
        if password:
            validate_password(password, self.instance)
        return password


@admin.register(User)
class PersonAdmin(LeadsOnly):
    """Log-ins. They are closed (not active), never deleted."""

    form = PersonForm
    list_display = ("username", "first_name", "last_name", "email", "is_active", "roles")
    search_fields = ("username", "first_name", "last_name", "email")
    list_filter = ("is_active",)

    def get_queryset(self, request: HttpRequest) -> QuerySet[User]:
        return User.objects.prefetch_related("memberships__nursery")

    @admin.display(description="roles")
    def roles(self, user: User) -> str:
        return ", ".join(
            f"{row.role} {row.nursery.code}" if row.nursery else row.role
            for row in user.memberships.all()
        )

    def save_model(self, request: HttpRequest, obj: User, form: Any, change: bool) -> None:
        save_person(
            actor_of(request),
            obj,
            password=form.cleaned_data["new_password"],
            by_superuser=bool(request.user.is_superuser),
        )


@admin.register(Membership)
class MembershipAdmin(LeadsOnly):
    """Roles: given and withdrawn, never edited."""

    list_display = ("user", "role", "nursery")
    list_filter = ("role", "nursery")
    autocomplete_fields = ("user",)
    list_select_related = ("user", "nursery")

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return actor_of(request).leads

    def save_model(self, request: HttpRequest, obj: Membership, form: Any, change: bool) -> None:
        given = grant_role(actor_of(request), obj.user, obj.role, obj.nursery)
        obj.pk = given.pk

    def delete_model(self, request: HttpRequest, obj: Membership) -> None:
        withdraw_role(actor_of(request), obj)


class TokenForm(forms.ModelForm):  # type: ignore[type-arg]  # no such thing at run time
    """A token that is wanted."""

    days = forms.IntegerField(min_value=1, max_value=MAX_DAYS, initial=90)

    class Meta:
        model = Token
        fields = ("user", "name", "read_only")


@admin.register(Token)
class TokenAdmin(LeadsOnly):
    """Tokens: made (the key is shown once) and withdrawn, never edited."""

    form = TokenForm
    list_display = ("name", "user", "read_only", "expires_at", "last_used_on", "withdrawn_at")
    list_filter = ("read_only",)
    autocomplete_fields = ("user",)
    list_select_related = ("user",)
    actions = ("withdraw",)

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def save_model(self, request: HttpRequest, obj: Token, form: Any, change: bool) -> None:
        token, key = issue_token(
            actor_of(request), obj.user, obj.name, form.cleaned_data["days"], obj.read_only
        )
        obj.pk = token.pk
        obj.__dict__["made_key"] = key

    def response_add(
        self, request: HttpRequest, obj: Token, post_url_continue: str | None = None
    ) -> HttpResponse:
        """Show the key, this once, instead of going back to the list."""
        context = {
            **self.admin_site.each_context(request),
            "title": "The key of the new token",
            "token": obj,
            "key": obj.__dict__["made_key"],
            "opts": self.opts,
        }
        return TemplateResponse(request, "access/token_made.html", context)

    @admin.action(description="Withdraw the chosen tokens")
    def withdraw(self, request: HttpRequest, queryset: QuerySet[Token]) -> None:
        for token in queryset:
            withdraw_token(actor_of(request), token)
