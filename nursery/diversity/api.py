"""Genet diversity of sites, the programme's genets, and proposals of plantings, by API."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import TypeVar

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from nursery.core.api.answers import schema_of
from nursery.core.api.base import Api, body_of
from nursery.core.errors import Problem, Unknown
from nursery.core.inputs import read
from nursery.core.plain import plain
from nursery.core.problems import ParameterRefused
from nursery.diversity.bank import GenetBank, genet_bank
from nursery.diversity.cohorts import By
from nursery.diversity.forms import COMPARED, read_compared, read_few
from nursery.diversity.overlaps import Overlaps, overlaps
from nursery.diversity.proposing import draft_proposal
from nursery.diversity.proposing_answers import Proposal, read_back
from nursery.diversity.proposing_inputs import ProposalIn
from nursery.diversity.queries import Report, diversity
from nursery.diversity.report import SiteReport, site_report
from nursery.diversity.risk import FEW
from nursery.donors import queries as donors
from nursery.donors.models import Taxon
from nursery.exchange.models import Task
from nursery.exchange.tasks import ask_to_propose, proposal_of
from nursery.outplanting.counts import Stand
from nursery.places import queries as places

_TAXON = OpenApiParameter("taxon", str, description="one taxon alone: its code or name")
_Word = TypeVar("_Word", bound=StrEnum)


class DiversityView(Api):
    """How many different individuals stand on a site, and how evenly."""

    known_parameters = {"retrieve": ("taxon", "state", "as_of")}

    @extend_schema(
        summary="Genet diversity of a site",
        parameters=[
            OpenApiParameter("code", str, OpenApiParameter.PATH, description="the site's code"),
            _TAXON,
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
                    _choice(Stand, "state", asked.get("state")) or Stand.ALIVE,
                    _day(asked.get("as_of")),
                )
            )
        )


class SiteReportView(Api):
    """All that is told of a site's diversity: the report with what stands beside it."""

    known_parameters = {"retrieve": ("taxon", "state", "as_of", "by")}

    @extend_schema(
        summary="All that is told of a site's diversity",
        parameters=[
            OpenApiParameter("code", str, OpenApiParameter.PATH, description="the site's code"),
            _TAXON,
            OpenApiParameter("state", str, enum=[state.value for state in Stand], default="alive"),
            OpenApiParameter("as_of", OpenApiTypes.DATE, description="a day; today if left out"),
            OpenApiParameter(
                "by",
                str,
                enum=[by.value for by in By],
                default="year",
                description="what makes a cohort: the year of planting, or each planting",
            ),
        ],
        responses={200: schema_of(SiteReport)},
    )
    def retrieve(self, request: Request, code: str) -> Response:
        """Planted and alive side by side with intervals, genets, cohorts, origins, and how alike
        the other sites are. Distances are from where a colony is shown to you."""
        site = places.site(code)
        asked = request.query_params
        return Response(
            plain(
                site_report(
                    self.actor,
                    site,
                    _taxon(asked.get("taxon")),
                    _choice(Stand, "state", asked.get("state")) or Stand.ALIVE,
                    _day(asked.get("as_of")),
                    _choice(By, "by", asked.get("by")) or By.YEAR,
                )
            )
        )


class OverlapView(Api):
    """How alike the sites are in their genets."""

    known_parameters = {"retrieve": ("taxon", "state")}

    @extend_schema(
        summary="Overlap of the sites in their genets",
        parameters=[
            _TAXON,
            OpenApiParameter("state", str, enum=COMPARED, default="alive"),
        ],
        responses={200: schema_of(Overlaps)},
    )
    def retrieve(self, request: Request) -> Response:
        """Morisita–Horn of each site with each, in what lives or in what was planted."""
        asked = request.query_params
        state = read_compared(asked.get("state", ""))
        return Response(plain(overlaps(self.actor, state, _taxon(asked.get("taxon")))))


class GenetBankView(Api):
    """The programme's genets: where each lives, which are at risk, which are gone."""

    known_parameters = {"retrieve": ("taxon", "few")}

    @extend_schema(
        summary="The programme's genets and where they live",
        parameters=[
            _TAXON,
            OpenApiParameter(
                "few", int, default=FEW, description="fewer living ramets than this are a risk"
            ),
        ],
        responses={200: schema_of(GenetBank)},
    )
    def retrieve(self, request: Request) -> Response:
        """Living ramets by nursery and system, risks, and genets lost with how the last ended."""
        asked = request.query_params
        few = read_few(asked.get("few", ""))
        return Response(plain(genet_bank(self.actor, _taxon(asked.get("taxon")), few)))


def _taxon(text: str | None) -> Taxon | None:
    if text is None:
        return None
    try:
        return donors.taxon(text.replace("\x00", ""))
    except Unknown as unknown:
        # The site of the address exists: it is the parameter that is wrong.
        raise ParameterRefused([problem.under("taxon") for problem in unknown.problems]) from None


def _choice(words: type[_Word], name: str, text: str | None) -> _Word | None:
    if text is None:
        return None
    try:
        return words(text)
    except ValueError:
        raise ParameterRefused(
            Problem("not_a_choice", f"{name} is one of: {', '.join(words)}.", (name,))
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


@dataclass(frozen=True, slots=True)
class Proposed:
    """What came of asking for a proposal. While it is worked out, `ended` is false and `proposal`
    null; look again. `says` is why nothing was found, where `failed` is true."""

    uid: uuid.UUID
    asked_at: datetime
    ended: bool
    failed: bool
    says: str
    proposal: Proposal | None


@dataclass(frozen=True, slots=True)
class DraftedManifest:
    """A manifest that was drafted of a proposal, and whether by this call."""

    manifest: str
    uid: uuid.UUID
    site: str
    fresh: bool


class ProposalView(Api):
    """Which ready plugs go to which plots: asked for, looked at, drafted."""

    @extend_schema(
        summary="Ask for a proposal",
        request=ProposalIn,
        responses={201: schema_of(Proposed), 202: schema_of(Proposed)},
    )
    def create(self, request: Request) -> Response:
        """Leads alone. What takes long is worked out by itself: 202, and it is looked at later."""
        task = ask_to_propose(self.actor, read(ProposalIn, body_of(request)))
        return Response(
            plain(_proposed(task)),
            status=201 if task.ended_at else 202,
            headers={"Location": f"{request.path}{task.uid}/"},
        )

    @extend_schema(
        summary="One proposal",
        parameters=[OpenApiParameter("uid", str, OpenApiParameter.PATH)],
        responses={200: schema_of(Proposed)},
    )
    def retrieve(self, request: Request, uid: str) -> Response:
        return Response(plain(_proposed(proposal_of(self.actor, uid))))

    @extend_schema(
        summary="Draft the manifests of a proposal",
        request=None,
        parameters=[OpenApiParameter("uid", str, OpenApiParameter.PATH)],
        responses={200: schema_of(list[DraftedManifest])},
    )
    def draft(self, request: Request, uid: str) -> Response:
        """One for each site, once however often it is called. Refused where a ramet has gone."""
        task = proposal_of(self.actor, uid, found=True)
        drafted = draft_proposal(self.actor, read_back(task.outcome["proposal"]), task.uid)
        rows = [
            DraftedManifest(
                each.manifest.code, each.manifest.uid, each.manifest.site.code, each.fresh
            )
            for each in drafted
        ]
        return Response(plain(rows))


def _proposed(task: Task) -> Proposed:
    stored = task.outcome.get("proposal")
    return Proposed(
        uid=task.uid,
        asked_at=task.asked_at,
        ended=task.ended_at is not None,
        failed=task.failed,
        says=task.outcome.get("says", ""),
        proposal=None if stored is None else read_back(stored),
    )
