"""Every rule: a fault that is planted behind the actions' back is found, by the rule's code."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from nursery.outplanting.verify import RULES, cells, descent, reading
from tests.verified import differences, nothing_wrong
from tests.verify import (
    faults_of_events,
    faults_of_genotypes,
    faults_of_manifests,
    faults_of_ramets,
    faults_of_things,
)
from tests.verify.season import Season

pytestmark = pytest.mark.django_db


@dataclass(frozen=True, slots=True)
class Fault:
    rule: str
    plant: Callable[[Season], object]

    def __str__(self) -> str:
        return f"{self.rule}-{self.plant.__name__}"


FAULTS = [
    Fault(rule, plant)
    for module in (
        faults_of_events,
        faults_of_genotypes,
        faults_of_manifests,
        faults_of_ramets,
        faults_of_things,
    )
    for rule, plants in module.FAULTS.items()
    for plant in plants
]


@pytest.mark.parametrize("fault", FAULTS, ids=str)
def test_a_fault_is_found(whole: Season, fault: Fault) -> None:
    fault.plant(whole)
    found = differences()
    assert fault.rule in {difference.rule for difference in found}, "\n".join(map(str, found))


def test_there_is_a_fault_for_every_rule() -> None:
    assert {fault.rule for fault in FAULTS} == RULES.keys()


@pytest.fixture
def small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "BATCH", 2)
    monkeypatch.setattr(cells, "AT_ONCE", 1)
    monkeypatch.setattr(descent, "_AT_ONCE", 1)


@pytest.mark.usefixtures("small_batches")
def test_nothing_is_found_across_the_borders_of_batches(whole: Season) -> None:
    nothing_wrong()


@pytest.mark.usefixtures("small_batches")
@pytest.mark.parametrize("fault", FAULTS[::8], ids=str)
def test_a_fault_is_found_across_the_borders_of_batches(whole: Season, fault: Fault) -> None:
    fault.plant(whole)
    assert fault.rule in {difference.rule for difference in differences()}
