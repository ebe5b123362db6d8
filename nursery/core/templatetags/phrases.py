"""The filters of `nursery.core.phrases` for templates: `{% load phrases %}`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template
from django.utils.translation import gettext

from nursery.core import phrases

register = template.Library()

register.filter("in_words", phrases.in_words)
register.filter("number", phrases.number)
register.filter("percent", phrases.percent)
register.filter("listed", phrases.listed)
register.filter("tag", phrases.tag)
register.filter("unbroken", phrases.unbroken)


@register.filter
def word(value: Any) -> str:
    """A member of a closed set, or a word with underscores, as it is read: `seen alive`."""
    text = str(getattr(value, "label", value) or "").replace("_", " ")
    return gettext(text) if text else ""


@register.filter
def of(mapping: Mapping[Any, Any], key: Any) -> Any:
    """The value of a key, or None."""
    return mapping.get(key)
