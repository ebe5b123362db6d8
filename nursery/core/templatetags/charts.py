"""Draws charts as part of the page: `{% load charts %}{% line_chart drawn caption table %}`.

The drawing is named by its title; the numbers behind it are a table, folded below.
"""

from __future__ import annotations

from typing import Any

from django import template

from nursery.core.charts import LineChart
from nursery.core.views.tables import Table

register = template.Library()


@register.inclusion_tag("core/line_chart.html")
def line_chart(
    drawn: LineChart, caption: str, table: Table, name: str, rests_on: str = "", day: str = ""
) -> dict[str, Any]:
    """A chart of lines with its caption above and its table folded below. `name` is its own on the
    page; `rests_on` says how many the lines rest on, and `day` when."""
    return {
        "drawn": drawn,
        "caption": caption,
        "table": table,
        "name": name,
        "rests_on": rests_on,
        "day": day,
    }
