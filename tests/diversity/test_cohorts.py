"""What became of what was planted in one year, or by one outplanting."""

from __future__ import annotations

from datetime import date

import pytest
from pytest_django.fixtures import DjangoAssertNumQueries

from nursery.core.errors import NotAllowed
from nursery.diversity.cohorts import By, Cohort, cohorts
from nursery.lineage.models import Ramet
from tests import factories as f
from tests.factories import Programme
from tests.outplanting.reef import lift
from tests.refusals import refused

pytestmark = pytest.mark.django_db


def plant(programme: Programme, when: str, *counts: int) -> list[Ramet]:
    """So many ramets of a new genet each, planted together."""
    children = [
        child
        for n in counts
        for child in f.cut(
            programme.lead,
            f.mothers(
                programme.lead,
                f.colony(programme.lead, programme.taxon, programme.reef),
                programme.tray,
            ),
            n,
        )
    ]
    f.planting(programme.lead, programme.plot, children, when=when)
    return children


def counted(found: tuple[Cohort, ...]) -> dict[str, tuple[int, int, int, int]]:
    """Ramets and genets planted, ramets and genets alive, by the cohort's name."""
    return {
        row.name: (
            row.planted.ramets,
            row.planted.indices.genets,
            row.alive.ramets,
            row.alive.indices.genets,
        )
        for row in found
    }


def test_each_year_is_counted_with_what_is_left_of_it(programme: Programme) -> None:
    first = plant(programme, "2021-06-01", 3, 1)
    plant(programme, "2022-06-01", 2)
    plant(programme, "2022-08-01", 2)
    f.visit(programme.lead, programme.site, {first[0]: "dead", first[3]: "dead"}, when="2021-09-01")
    found = cohorts(programme.lead, programme.site)
    assert counted(found) == {"2021": (4, 2, 2, 1), "2022": (4, 2, 4, 2)}
    assert (found[1].first, found[1].last) == (date(2022, 6, 1), date(2022, 8, 1))
    # 2 and 2 ramets: two even genets.
    assert found[1].alive.indices.hill_1.value == pytest.approx(2)


def test_a_past_day_knows_only_what_had_happened(programme: Programme) -> None:
    first = plant(programme, "2021-06-01", 3)
    plant(programme, "2022-06-01", 2)
    f.visit(programme.lead, programme.site, {first[0]: "dead"}, when="2021-09-01")
    then = cohorts(programme.lead, programme.site, as_of=date(2021, 7, 1))
    assert counted(then) == {"2021": (3, 1, 3, 1)}
    later = cohorts(programme.lead, programme.site, as_of=date(2021, 10, 1))
    assert counted(later) == {"2021": (3, 1, 2, 1)}


def test_each_planting_is_a_cohort_where_that_is_asked_for(programme: Programme) -> None:
    plant(programme, "2021-06-01", 3)
    plant(programme, "2021-07-01", 2)
    found = cohorts(programme.lead, programme.site, by=By.PLANTING)
    assert [(row.plot, row.first, row.planted.ramets) for row in found] == [
        (programme.plot.code, date(2021, 6, 1), 3),
        (programme.plot.code, date(2021, 7, 1), 2),
    ]


def test_a_date_that_may_be_of_two_years_is_told_as_such(programme: Programme) -> None:
    plant(programme, "2021-12-20/2022-01-10", 2)
    assert list(counted(cohorts(programme.lead, programme.site))) == ["2021–2022"]


def test_a_ramet_planted_again_is_of_its_last_planting(programme: Programme) -> None:
    (ramet,) = plant(programme, "2021-06-01", 1)
    lift(programme.lead, [ramet], programme.tray)
    f.planting(programme.lead, programme.plot, [ramet], when="2022-06-01")
    assert counted(cohorts(programme.lead, programme.site)) == {"2022": (1, 1, 1, 1)}


def test_ramets_without_a_genet_are_counted_apart(programme: Programme) -> None:
    legacy = f.stock(programme.lead, programme.nursery, [{"taxon": programme.taxon.code}])
    f.planting(programme.lead, programme.plot, legacy, when="2021-06-01")
    (row,) = cohorts(programme.lead, programme.site)
    assert (row.alive.ramets, row.alive.without_genet, row.alive.indices.genets) == (1, 1, 0)
    assert row.alive.indices.hill_1.value is None


def test_another_taxon_is_left_out(programme: Programme) -> None:
    plant(programme, "2021-06-01", 3)
    other = f.taxon(programme.lead)
    assert cohorts(programme.lead, programme.site, taxon=other) == ()
    assert len(cohorts(programme.lead, programme.site, taxon=programme.taxon)) == 1


@pytest.mark.parametrize("day", [None, date(2023, 1, 1)])
def test_many_cost_the_same_as_few(
    programme: Programme, day: date | None, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    plant(programme, "2021-06-01", 1)
    with django_assert_num_queries(7):
        cohorts(programme.lead, programme.site, day)
    plant(programme, "2022-06-01", 5, 4, 3)
    plant(programme, "2022-07-01", 5)
    with django_assert_num_queries(7):
        cohorts(programme.lead, programme.site, day)


def test_nobody_without_a_role_is_told(programme: Programme) -> None:
    nobody = f.actor()
    with refused("no_role", by=NotAllowed):
        cohorts(nobody, programme.site)
