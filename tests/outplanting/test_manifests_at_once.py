"""Two writers at once: one ramet on one manifest, one sign-off, one planting of a line."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

from nursery.core.inputs import read
from nursery.diversity import actions as diversity
from nursery.diversity.inputs import SignOffIn
from nursery.diversity.models import SignOff
from nursery.lineage.models import Ramet
from nursery.outplanting import actions
from nursery.outplanting.inputs import LinesIn
from nursery.outplanting.manifests import lines, since_seen, tallies
from nursery.outplanting.models import Manifest, Outplant, PolicyRule
from tests import factories as f
from tests.lineage.ends import end
from tests.together import at_once, codes
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 6


@pytest.fixture
def programme(transactional_db: None) -> f.Programme:
    """Committed, so that other connections see it."""
    return f.programme()


@pytest.fixture
def children(programme: f.Programme) -> list[Ramet]:
    return f.cut(programme.lead, [programme.mother()], ROUNDS, into=programme.plate)


def test_a_ramet_is_on_one_open_manifest(programme: f.Programme, children: list[Ramet]) -> None:
    for child in children:
        draft = partial(f.manifest, programme.lead, programme.plot, [child])
        assert codes(at_once([draft, draft])) == ["on_another_manifest"]
        assert lines().filter(ramet=child).count() == 1


def test_a_manifest_is_signed_off_once(programme: f.Programme, children: list[Ramet]) -> None:
    for child in children:
        found = f.manifest(programme.lead, programme.plot, [child])
        seen = diversity.audit(programme.lead, found)
        sign = partial(
            diversity.sign_off,
            programme.lead,
            found,
            SignOffIn(audit=seen.pk, stock=seen.stock),
        )
        assert codes(at_once([sign, sign])) == ["already_signed_off"]
        assert SignOff.objects.filter(manifest=found).count() == 1


def test_what_is_added_while_it_is_signed_is_never_signed_unseen(
    programme: f.Programme, children: list[Ramet]
) -> None:
    for one, other in zip(children[::2], children[1::2], strict=True):
        found = f.manifest(programme.lead, programme.plot, [one])
        seen = diversity.audit(programme.lead, found)
        given = {"plot": programme.plot.code, "add": [{"ramet": other.code}]}
        answers: list[Any] = at_once(
            [
                partial(
                    diversity.sign_off,
                    programme.lead,
                    found,
                    SignOffIn(audit=seen.pk, stock=seen.stock),
                ),
                partial(actions.change_lines, programme.lead, found, read(LinesIn, given)),
            ]
        )
        assert codes(answers) in ([], ["not_audited"])
        assert Manifest.objects.get(pk=found.pk).stage == 1


def test_an_audit_sees_what_it_judges(programme: f.Programme, children: list[Ramet]) -> None:
    for child in children:
        found = f.manifest(programme.lead, programme.plot, [child])
        answers: list[Any] = at_once(
            [
                partial(diversity.audit, programme.lead, found),
                partial(end, programme.lead, [child], when="2021-05-01"),
            ]
        )
        assert codes(answers) == []
        # Either it was counted, and its death is news; or it was found dead.
        assert (answers[0].ramets, len(since_seen(found))) in ((1, 1), (0, 0))
    nothing_wrong()


def test_a_line_is_planted_once(programme: f.Programme, children: list[Ramet]) -> None:
    found = f.manifest(programme.lead, programme.plot, children)
    f.signed(programme.lead, found)
    for child in children:
        dive = partial(f.planting, programme.lead, programme.plot, [child], manifest=found.code)
        assert codes(at_once([dive, dive])) in (["planted_already"], ["already_planted"])
    assert tallies([found])[found.pk].left == 0
    assert Outplant.objects.count() == ROUNDS
    nothing_wrong()


def test_a_rule_set_for_the_first_time_by_two_is_set_once(programme: f.Programme) -> None:
    act = partial(f.rule, programme.lead, "least_age", 90)
    answers = at_once([act, act])
    assert codes(answers) in ([], ["edited_meanwhile"])
    assert PolicyRule.objects.filter(until=None).count() == 1
