"""Forms of pages that belong to no app alone."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.forms import AuthenticationForm
from django.utils.translation import gettext_lazy as _


class LogInForm(AuthenticationForm):
    """A log-in's name and password."""

    error_messages = {
        "invalid_login": _(
            "Name and password do not fit together. Mind capital and small letters."
        ),
        "inactive": _("This log-in is closed. Ask a programme lead."),
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("Name")
        # After a fault the reader is led to the words about it, not past them.
        self.fields["username"].widget.attrs.update(autocapitalize="none", spellcheck="false")
