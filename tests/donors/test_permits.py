"""Permits: what does not fit is flagged, never refused."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from nursery.core.dates import parse_when
from nursery.donors.flagged import flags_of_collection
from nursery.donors.models import Permit
from nursery.donors.permits import Use, flags
from tests import factories as f


def codes(programme: f.Programme, *permits: Permit, **values: Any) -> list[str]:
    """The flags of a new collection under these permits."""
    found = f.collection(
        programme.lead, programme.colony, permits=[permit.code for permit in permits], **values
    )
    return [flag.code for flag in flags_of_collection(found)]


def test_a_permit_that_covers_a_collection_raises_no_flag(programme: f.Programme) -> None:
    permit = f.permit(
        programme.lead,
        valid_from="2021-01-01",
        valid_until="2021-12-31",
        pieces=5,
        taxa=programme.taxon.code,
        reefs=[programme.reef.code],
    )
    assert codes(programme, permit, count=5) == []


def test_no_permit_at_all_is_flagged(programme: f.Programme) -> None:
    assert codes(programme) == ["no_permit"]


def test_a_permit_without_limits_covers_everything(programme: f.Programme) -> None:
    assert codes(programme, f.permit(programme.lead), count=1000) == []


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"valid_until": "2021-01-09"}, "permit_lapsed"),
        ({"valid_from": "2021-01-11"}, "permit_not_yet_valid"),
        ({"pieces": 2}, "permit_exceeded"),
    ],
    ids=str,
)
def test_a_permit_that_does_not_fit_is_flagged_and_the_collection_kept(
    programme: f.Programme, values: dict[str, Any], code: str
) -> None:
    assert codes(programme, f.permit(programme.lead, **values), count=3) == [code]


def test_a_permit_for_other_taxa_or_reefs_is_flagged(programme: f.Programme) -> None:
    permit = f.permit(
        programme.lead,
        taxa=[f.taxon(programme.lead).code],
        reefs=[f.reef(programme.lead).code],
    )
    assert codes(programme, permit) == ["permit_other_taxon", "permit_other_reef"]


def test_a_date_that_can_be_within_the_permit_is_not_flagged(programme: f.Programme) -> None:
    permit = f.permit(programme.lead, valid_from="2021-06-01", valid_until="2021-06-30")
    assert codes(programme, permit, when="2021") == []
    assert codes(programme, permit, when="2021-05") == ["permit_not_yet_valid"]
    assert codes(programme, permit, when="2021-07") == ["permit_lapsed"]


def test_pieces_add_up_over_all_collections_under_a_permit(programme: f.Programme) -> None:
    permit = f.permit(programme.lead, pieces=5)
    assert codes(programme, permit, count=3) == []
    assert codes(programme, permit, count=2) == []
    assert codes(programme, permit, count=1) == ["permit_exceeded"]


def test_one_permit_that_covers_it_is_enough(programme: f.Programme) -> None:
    lapsed = f.permit(programme.lead, valid_until="2020-01-01")
    assert codes(programme, lapsed, f.permit(programme.lead)) == []


def test_pieces_under_another_permit_do_not_count(programme: f.Programme) -> None:
    """Each permit is judged by what was taken under it, not under those named beside it."""
    small, large = f.permit(programme.lead, pieces=5), f.permit(programme.lead, pieces=100)
    assert codes(programme, large, count=60) == []
    assert codes(programme, small, large, count=4) == []
    assert codes(programme, small, count=1) == []


def test_pieces_taken_under_a_larger_permit_do_not_exceed_a_smaller_one(
    programme: f.Programme,
) -> None:
    small = f.permit(programme.lead, pieces=5, valid_until="2021-01-31")
    large = f.permit(programme.lead, pieces=100, valid_until="2021-01-31")
    assert codes(programme, large, count=60) == []
    # Both lapsed: each says only what is wrong with itself.
    assert codes(programme, small, large, count=4, when="2021-03-01") == [
        "permit_lapsed",
        "permit_lapsed",
    ]


def test_a_site_that_a_permit_does_not_name_is_flagged(programme: f.Programme) -> None:
    permit = f.permit(programme.lead, sites=[programme.site.code])
    use = Use(parse_when("2021"), site=programme.site.pk)
    assert flags([permit], use) == []
    other = replace(use, site=f.site(programme.lead).pk)
    assert [flag.code for flag in flags([permit], other)] == ["permit_other_site"]
