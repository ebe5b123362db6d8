"""Proposals: groups of samples that match, with their chains."""

from __future__ import annotations

import uuid

import pytest

from nursery.core.errors import Conflict, NotAllowed
from nursery.core.inputs import read
from nursery.genotyping.actions import propose
from nursery.genotyping.inputs import MatchingIn
from nursery.genotyping.models import GenotypeTable, MatchGroup, Proposal, Sample
from tests import factories as f
from tests.genotyping.laboratory import ONE, OTHER, panel, proposal, samples, table
from tests.refusals import refused


@pytest.fixture
def four(programme: f.Programme) -> list[Sample]:
    plugs = f.cut(programme.lead, programme.mothers(), 4, into=programme.tray)
    return samples(programme.lead, *plugs)


def chained(programme: f.Programme, four: list[Sample]) -> GenotypeTable:
    """The first differs from the second at one locus, that from the third at one; a fourth."""
    calls = {
        four[0]: ONE,
        four[1]: ("1/1", *ONE[1:]),
        four[2]: ("1/1", "3/3", *ONE[2:]),
        four[3]: ("9/9", "9/9", "9/9", "9/9"),
    }
    return table(programme.lead, panel(programme.lead), calls)


def codes_of(group: MatchGroup) -> list[str]:
    return [member.sample.code for member in group.members.select_related("sample")]


def test_groups_are_kept_with_their_chains(programme: f.Programme, four: list[Sample]) -> None:
    made = proposal(programme.lead, chained(programme, four), threshold=1)
    first, second = made.groups.all()
    a, b, c, d = (sample.code for sample in four)
    assert (first.number, first.size, codes_of(first)) == (1, 3, [a, b, c])
    assert (second.number, second.size, codes_of(second)) == (2, 1, [d])
    assert first.chain == {
        "links": [[a, b, 1, 4], [b, c, 1, 4]],
        "apart": [[a, c, 2, 4]],
        "apart_count": 1,
        "untold": [],
        "untold_count": 0,
    }
    assert made.spread == [0, 2, 1, 0, 3]
    assert made.table is not None


def test_a_whole_panel_is_compared(programme: f.Programme, four: list[Sample]) -> None:
    of = panel(programme.lead)
    table(programme.lead, of, {four[0]: ONE, four[1]: OTHER})
    table(programme.lead, of, {four[2]: ONE})
    made = proposal(programme.lead, of)
    assert [codes_of(group) for group in made.groups.all()] == [
        [four[0].code, four[2].code],
        [four[1].code],
    ]
    assert made.table is None


def test_the_same_proposal_twice_is_one(programme: f.Programme, four: list[Sample]) -> None:
    of = chained(programme, four)
    given = {"uid": str(uuid.uuid4()), "table": str(of.uid), "threshold": 1, "minimum": 3}
    first = propose(programme.lead, read(MatchingIn, given))
    again = propose(programme.lead, read(MatchingIn, given))
    assert (first.fresh, again.fresh, again.proposal) == (True, False, first.proposal)
    assert Proposal.objects.count() == 1
    with refused("uid_taken", by=Conflict):
        propose(programme.lead, read(MatchingIn, {**given, "threshold": 2}))


def test_what_cannot_be_compared_is_refused(programme: f.Programme, four: list[Sample]) -> None:
    of = panel(programme.lead)
    with refused("nothing_typed"):
        proposal(programme.lead, of)
    made = table(programme.lead, of, {four[0]: ONE})
    with refused("out_of_range", pointer="#/minimum"):
        proposal(programme.lead, made, minimum=5)
    with refused("out_of_range", pointer="#/threshold"):
        proposal(programme.lead, made, threshold=4)
    with refused("unknown_panel"):
        read_and_propose(programme, panel="NONE")
    with refused("unknown_table"):
        read_and_propose(programme, table=str(uuid.uuid4()))
    with refused("table_or_panel"):
        read_and_propose(programme)


def read_and_propose(programme: f.Programme, **named: str) -> None:
    propose(programme.lead, read(MatchingIn, {**named, "threshold": 0, "minimum": 1}))


def test_only_leads_propose(programme: f.Programme, four: list[Sample]) -> None:
    made = chained(programme, four)
    field = f.field()
    with refused("not_allowed", by=NotAllowed):
        proposal(field, made)
