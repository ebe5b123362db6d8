"""The demo loaded whole. It takes a while, so that one test looks at all that follows from it."""

from __future__ import annotations

import uuid
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from pytest_django import Settings

from fixtures.invented.book import Ramet as Told
from fixtures.make_demo import make
from nursery.access.actors import CONSOLE, actor_for
from nursery.core.actor import Role
from nursery.core.inputs import read
from nursery.core.models import User
from nursery.diversity.actions import answers_of, audit
from nursery.diversity.audit.judge import Verdict
from nursery.diversity.models import Audit
from nursery.diversity.proposing import draft_proposal, propose
from nursery.diversity.proposing_inputs import ProposalIn
from nursery.diversity.queries import diversity
from nursery.exchange.management.commands.prepare_demo import LOG_INS, PASSWORD
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life, Place
from nursery.outplanting.actions import cancel
from nursery.outplanting.models import Manifest
from nursery.outplanting.queries import trace
from nursery.places.queries import site
from tests import factories as f
from tests.refusals import everything_stored


def prepare() -> str:
    out = StringIO()
    call_command("prepare_demo", stdout=out)
    return out.getvalue()


def told_of(ramet: Told) -> tuple[object, ...]:
    """What the makers of the demo say of a ramet."""
    here = ramet.structure.code if ramet.structure and ramet.living else None
    return (
        ramet.taxon,
        ramet.genet or None,
        ramet.generation,
        ramet.living,
        here,
        ramet.cell.name if ramet.cell and here else None,
        ramet.plot or None,
    )


def kept_of(ramet: Ramet) -> tuple[object, ...]:
    """What the register says of it."""
    here = ramet.structure if ramet.living else None
    return (
        ramet.taxon.code,
        ramet.genet.code if ramet.genet else None,
        ramet.generation,
        ramet.living,
        here.code if here else None,
        ramet.cell.name if ramet.cell and here else None,
        ramet.plot.code if ramet.plot else None,
    )


@pytest.mark.django_db
def test_the_demo_is_loaded_as_it_was_made_and_a_second_time_changes_nothing(
    settings: Settings,
) -> None:
    settings.DEBUG = True
    said = prepare()

    # The makers keep their own book of what is true: the register must come to the same.
    book = make()
    ramets = Ramet.objects.select_related("taxon", "genet", "structure", "plot")
    kept = {ramet.code: kept_of(ramet) for ramet in ramets}
    assert kept == {code: told_of(ramet) for code, ramet in book.ramets.items()}
    assert len(kept) >= 6000

    planted = Ramet.objects.filter(place=Place.PLOT, life=Life.LIVING, generation=8)
    deepest = trace(CONSOLE, planted.order_by("code")[0].code)
    assert {node.generation for node in deepest.nodes} == set(range(9))
    assert "generation 8" in said

    reports = {code: diversity(CONSOLE, site(code)) for code in ("WR", "CP", "MF", "FO")}
    largest = {code: max(g.share for g in report.whole.genets) for code, report in reports.items()}
    assert largest["CP"] > 0.5
    assert largest["WR"] < 0.1
    assert len(reports["WR"].whole.genets) >= 20
    assert largest["WR"] < min(largest["MF"], largest["FO"])
    assert max(largest["MF"], largest["FO"]) < largest["CP"]
    assert reports["FO"].whole.without_genet > 0
    for code in reports:
        assert f"manage.py diversity {code}" in said

    for role, (username, *_) in LOG_INS.items():
        user = User.objects.get(username=username)
        assert actor_for(user).roles == {role}
        assert user.check_password(PASSWORD)
        assert user.is_staff == (role is Role.LEAD)
        assert username in said

    before = everything_stored()
    again = prepare()
    assert everything_stored() == before
    assert again == said[said.index("$ manage.py trace") :]
    the_poor_manifest_fails_and_a_proposal_passes()


def the_poor_manifest_fails_and_a_proposal_passes() -> None:
    """The demo's own manifest makes a poor site poorer; what is proposed instead holds to the
    policy, once its plugs were looked at."""
    lead = actor_for(User.objects.get(username="lead"))
    poor = Manifest.objects.get()
    failed = failures(audit(lead, poor))
    assert failed == {
        *("genets_of_site", "largest_share", "effective_genets", "donor_reefs"),
        "inspected_within",
    }
    cancel(lead, poor, "too much of one genet")
    plots = poor.site.plots.values_list("code", flat=True)
    asked = {
        "title": "What is ready, mixed",
        "planned": f"{poor.earliest}/{poor.latest}",
        "needs": [{"plot": code, "taxon": "POC-DAM", "plugs": 24} for code in plots],
        "site_limits": {"largest_share": 30, "fewest_genets": 6, "fewest_reefs": 2},
        "plot_limits": {"fewest_genets": 3},
        "least_days": 60,
        "most_days": 1000,
        "permits": [permit.code for permit in poor.permits.all()],
    }
    proposal = propose(lead, read(ProposalIn, asked))
    assert proposal.given == 24 * len(plots)
    (drafted,) = draft_proposal(lead, proposal, uuid.uuid4())
    assert failures(audit(lead, drafted.manifest)) == {"inspected_within"}
    plugs = Ramet.objects.filter(manifest_lines__manifest=drafted.manifest)
    looked = str(poor.earliest - timedelta(days=2))
    f.check(lead, dict.fromkeys(plugs, "attached"), when=looked)
    assert failures(audit(lead, drafted.manifest)) == set()


def failures(judged: Audit) -> set[str]:
    return {answer.rule for answer in answers_of(judged) if answer.verdict is Verdict.FAILS}


@pytest.mark.django_db
def test_the_demo_is_refused_where_people_work(settings: Settings) -> None:
    settings.DEBUG = False
    with pytest.raises(CommandError, match="DEBUG=1"):
        prepare()
    assert not User.objects.exists()


@pytest.mark.django_db
def test_the_demo_is_not_mixed_with_other_records(settings: Settings) -> None:
    settings.DEBUG = True
    f.programme()
    people = User.objects.count()
    with pytest.raises(CommandError, match="other records"):
        prepare()
    assert User.objects.count() == people
