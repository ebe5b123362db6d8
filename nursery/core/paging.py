"""Lists come in pages: `limit` rows from `offset` on."""

from __future__ import annotations

from rest_framework.pagination import LimitOffsetPagination
from rest_framework.request import Request

from nursery.core.errors import Problem
from nursery.core.problems import ParameterRefused

LARGEST_OFFSET = 100_000_000


class Paging(LimitOffsetPagination):
    """50 rows unless told, 500 at most. A bad number is refused, never replaced by another."""

    default_limit = 50
    max_limit = 500

    def get_limit(self, request: Request) -> int:
        text = request.query_params.get(self.limit_query_param)
        if text is None:
            return self.default_limit
        return _number(text, self.limit_query_param, 1, self.max_limit)

    def get_offset(self, request: Request) -> int:
        text = request.query_params.get(self.offset_query_param)
        return 0 if text is None else _number(text, self.offset_query_param, 0, LARGEST_OFFSET)


def _number(text: str, name: str, least: int, most: int) -> int:
    plain = text.isascii() and text.isdigit() and len(text) <= 9
    if not plain or not least <= int(text) <= most:
        raise ParameterRefused(
            Problem(f"bad_{name}", f"{name} is a whole number from {least} to {most}.", (name,))
        )
    return int(text)
