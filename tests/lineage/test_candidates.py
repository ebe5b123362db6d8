"""Which genets a ramet without one may be: the same for a trace, its page and many cuttings."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from django.test import Client
from pytest_django.fixtures import DjangoAssertNumQueries

from nursery.core.actor import Role
from nursery.lineage import queries
from nursery.lineage.models import Ramet
from nursery.lineage.queries import Candidates, candidates_of_cuttings
from nursery.lineage.queries.candidates import Known, reckon
from tests import factories as f
from tests.lineage.identities import loose, merge, other_genet, relabel
from tests.pages import read, reader


@pytest.mark.parametrize(
    ("known", "expected"),
    [
        ({"a": Known("X")}, Candidates(("X",), True)),
        ({"a": Known(None)}, Candidates((), False)),
        ({"a": Known(None, "bc"), "b": Known("Y"), "c": Known("X")}, Candidates(("X", "Y"), True)),
        ({"a": Known(None, "bc"), "b": Known("Y"), "c": Known(None)}, Candidates(("Y",), False)),
        # The nearest decides: what a known one was cut from says nothing more.
        ({"a": Known(None, "b"), "b": Known("X", "c"), "c": Known("Y")}, Candidates(("X",), True)),
        # One that is reached by two ways counts once.
        (
            {"a": Known(None, "bc"), "b": Known(None, "d"), "c": Known("X"), "d": Known("X")},
            Candidates(("X",), True),
        ),
    ],
)
def test_the_nearest_known_genets_are_the_candidates(
    known: Mapping[str, Known[str]], expected: Candidates
) -> None:
    assert reckon("a", known) == expected


def pool(programme: f.Programme) -> tuple[list[Ramet], tuple[str, ...]]:
    """Two children of ramets of two genets, and these."""
    other, stranger = other_genet(programme)
    children = f.cut(programme.lead, [programme.mother(), stranger], 2, into=programme.plate)
    return children, tuple(sorted([other.code, programme.colony.genet.code]))


def traced(programme: f.Programme, ramet: Ramet) -> tuple[str, ...]:
    return queries.trace(programme.lead, ramet.code).candidate_genets


def of_its_cutting(ramet: Ramet) -> Candidates | None:
    return candidates_of_cuttings([ramet.fragmentation_id or 0]).get(ramet.fragmentation_id or 0)


@pytest.fixture
def client(db: None) -> Client:
    return reader(Role.VIEWER)


@pytest.mark.django_db
def test_a_grandchild_of_a_pool_may_be_what_its_mother_may_be(
    programme: f.Programme, client: Client
) -> None:
    (child, _), both = pool(programme)
    (grandchild,) = f.cut(programme.lead, [child], when="2021-04-01")
    assert traced(programme, grandchild) == both
    assert of_its_cutting(grandchild) == Candidates(both, True)
    said = read(client, f"/ramets/{grandchild.code}/")
    named = said.partition("not known; one of ")[2].partition("Generation")[0]
    assert [code in named for code in both] == [True, True]
    assert "or another that is not known" not in said


@pytest.mark.django_db
def test_one_relabelled_as_unknown_is_none_of_what_it_was_cut_from(
    programme: f.Programme,
) -> None:
    child = f.cut(programme.lead, [programme.mother()])[0]
    (grandchild,) = f.cut(programme.lead, [child], when="2021-04-01")
    relabel(programme.lead, [child], None)
    assert traced(programme, child) == ()
    assert traced(programme, grandchild) == ()
    assert of_its_cutting(grandchild) == Candidates((), False)


@pytest.mark.django_db
def test_one_of_a_pool_relabelled_as_unknown_has_no_candidates(programme: f.Programme) -> None:
    (child, sibling), both = pool(programme)
    relabel(programme.lead, [child], None)
    assert traced(programme, child) == ()
    assert traced(programme, sibling) == both


@pytest.mark.django_db
def test_a_relabelling_that_names_a_genet_after_one_that_did_not_decides(
    programme: f.Programme,
) -> None:
    (child, _), both = pool(programme)
    (grandchild,) = f.cut(programme.lead, [child, programme.mother()], when="2021-04-01")
    relabel(programme.lead, [child], None)
    own = programme.colony.genet.code
    assert (traced(programme, grandchild), of_its_cutting(grandchild)) == (
        (own,),
        Candidates((own,), False),
    )
    stranger, _ = other_genet(programme)
    relabel(programme.lead, [child], stranger, when="2021-08-01")
    assert of_its_cutting(grandchild) == Candidates(tuple(sorted([own, stranger.code])), True)
    assert stranger.code not in both


@pytest.mark.django_db
def test_a_pool_with_a_found_piece_may_be_yet_another(programme: f.Programme) -> None:
    (piece,) = loose(programme, when="2021-01-15")
    (child,) = f.cut(programme.lead, [programme.mother(), piece])
    assert of_its_cutting(child) == Candidates((programme.colony.genet.code,), False)


@pytest.mark.django_db
def test_merged_genets_are_one_candidate(programme: f.Programme) -> None:
    (piece,) = loose(programme, when="2021-01-15")
    other, stranger = other_genet(programme)
    (child,) = f.cut(programme.lead, [programme.mother(), stranger, piece])
    kept = programme.colony.genet
    merge(programme.lead, kept, other)
    assert of_its_cutting(child) == Candidates((kept.code,), False)
    assert traced(programme, child) == (kept.code,)


@pytest.mark.django_db
def test_one_with_a_genet_has_no_candidates(programme: f.Programme) -> None:
    child = f.cut(programme.lead, [programme.mother()])[0]
    assert traced(programme, child) == ()
    assert of_its_cutting(child) is None


@pytest.mark.django_db
def test_the_candidates_of_many_cuttings_cost_one_query(
    programme: f.Programme, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    cuttings: list[int] = []
    for _ in range(3):
        (child, _), _ = pool(programme)
        (grandchild,) = f.cut(programme.lead, [child], when="2021-04-01")
        cuttings += [child.fragmentation_id or 0, grandchild.fragmentation_id or 0]
    with django_assert_num_queries(1):
        found = candidates_of_cuttings(cuttings)
    assert found.keys() == set(cuttings)
    with django_assert_num_queries(0):
        assert candidates_of_cuttings([]) == {}
