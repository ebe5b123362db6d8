"""Draws genets' marks: `{% load genet_marks %}{% genet_mark genet_id %}`.

A mark is a plug seen from above: a disc of the hue with the hatch in the paper's colour, so that it
stays apart in greyscale and in print. Dead is hollow, a genet that is not known is dotted. The
drawing is hidden from screen readers; the label beside it, or the words around it, say the same.
"""

from __future__ import annotations

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from nursery.donors.marks import mark_of

register = template.Library()

# Lines inside a disc of radius 8 around (10, 10), each as long as the disc is wide there.
_HATCHES = (
    "",
    "M3 6h14M2 10h16M3 14h14",
    "M6 3v14M10 2v16M14 3v14",
    "M2.6 13 13 2.6M4.3 15.7 15.7 4.3M7 17.4 17.4 7",
    "M6 7h.01M14 7h.01M10 10h.01M6 13.5h.01M14 13.5h.01M10 4h.01M10 16.5h.01",
    "M10 5.5a4.5 4.5 0 1 0 .01 0z",
)
_DOTS = 4


def disc(genet_id: int | None, *, dead: bool = False) -> SafeString:
    """The drawing alone. No id (None, or empty in a template): the genet is not known."""
    if dead:
        inside = mark_safe('<circle cx="10" cy="10" r="7" class="hollow"/>')
    elif not genet_id:
        inside = mark_safe('<circle cx="10" cy="10" r="7" class="unknown"/>')
    else:
        mark = mark_of(genet_id)
        inside = format_html(
            '<circle cx="10" cy="10" r="8" class="hue-{}"/><path d="{}" class="{}"/>',
            mark.hue,
            _HATCHES[mark.hatch],
            "dots" if mark.hatch == _DOTS else "hatch",
        )
    return format_html(
        '<svg class="disc" viewBox="0 0 20 20" width="20" height="20" aria-hidden="true">{}</svg>',
        inside,
    )


@register.simple_tag
def genet_disc(genet_id: int | None, dead: bool = False) -> SafeString:
    """The drawing without its label."""
    return disc(genet_id, dead=dead)


@register.simple_tag
def genet_mark(genet_id: int | None) -> SafeString:
    """The drawing with its short label."""
    if not genet_id:
        return format_html('<span class="mark">{}</span>', disc(None))
    return format_html(
        '<span class="mark">{}<span class="mark-label">{}</span></span>',
        disc(genet_id),
        mark_of(genet_id).label,
    )
