"""Genet diversity of a site by API."""

from __future__ import annotations

from datetime import date

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from nursery.core.api.answers import schema_of
from nursery.core.api.base import Api
from nursery.core.errors import Problem, Unknown
from nursery.core.plain import plain
from nursery.core.problems import ParameterRefused
from nursery.diversity.queries import Report, diversity
from nursery.donors import queries as donors
from nursery.donors.models import Taxon
from nursery.outplanting.counts import Stand
from nursery.places import queries as places


class DiversityView(Api):
    """How many different individuals stand on a site, and how evenly."""

    known_parameters = {"retrieve": ("taxon", "state", "as_of")}

    @extend_schema(
        summary="Genet diversity of a site",
        parameters=[
            OpenApiParameter("code", str, OpenApiParameter.PATH, description="the site's code"),
            OpenApiParameter("taxon", str, description="one taxon alone: its code or name"),
            OpenApiParameter("state", str, enum=[state.value for state in Stand], default="alive"),
            OpenApiParameter("as_of", OpenApiTypes.DATE, description="a day; today if left out"),
        ],
        responses={200: schema_of(Report)},
    )
    def retrieve(self, request: Request, code: str) -> Response:
        """The report, by plot and taxon. What is undefined is null with its reason."""
        site = places.site(code)
        asked = request.query_params
        return Response(
            plain(
                diversity(
                    self.actor,
                    site,
                    _taxon(asked.get("taxon")),
                    _state(asked.get("state")),
                    _day(asked.get("as_of")),
                )
            )
        )


def _taxon(text: str | None) -> Taxon | None:
    if text is None:
        return None
    try:
        return donors.taxon(text.replace("\x00", ""))
    except Unknown as unknown:
        # The site of the address exists: it is the parameter that is wrong.
        raise ParameterRefused([problem.under("taxon") for problem in unknown.problems]) from None


def _state(text: str | None) -> Stand:
    if text is None:
        return Stand.ALIVE
    try:
        return Stand(text)
    except ValueError:
        words = ", ".join(Stand)
        raise ParameterRefused(
            Problem("not_a_choice", f"state is one of: {words}.", ("state",))
        ) from None


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ParameterRefused(
            Problem("date_malformed", "as_of is a day: 2021-03-04.", ("as_of",))
        ) from None
