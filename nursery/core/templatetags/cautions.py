"""Cautions on pages: `{% load cautions %}`, then `{% caution "cement" %}`."""

from __future__ import annotations

from typing import Any

from django import template

from nursery.core.cautions import CAUTIONS
from nursery.core.views.appearance import put_away

register = template.Library()


@register.inclusion_tag("core/caution.html", takes_context=True)
def caution(context: dict[str, Any], key: str) -> dict[str, Any]:
    """The caution of that key, folded to its heading where the reader put it away for the day."""
    request = context["request"]
    return {
        "caution": CAUTIONS[key],
        "away": key in put_away(request),
        "back": request.get_full_path(),
        "request": request,
        "csrf_token": context.get("csrf_token", ""),
    }
