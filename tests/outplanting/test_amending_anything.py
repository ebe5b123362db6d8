"""Another colony, another mother, another plot: an amended programme is as if it had been entered
so, or the amendment is refused where entering it so is.

Every programme is reckoned beside it with plain dictionaries and networkx (tests/simulated.py).
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

import pytest
from django.db import transaction
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from nursery.core.errors import Refused, Trouble
from nursery.core.inputs import read
from nursery.outplanting.actions.correct import amend, undo_amendment
from nursery.outplanting.corrections import AmendIn
from nursery.places.models import Plot
from tests import factories as f
from tests.simulated import Doing, Stage, Writer, enter, on_record, reckoned, stage
from tests.standing import live_rows
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db

seeds = st.integers(0, 2**32 - 1)
lengths = st.integers(6, 14)
kinds = st.sampled_from(["collect", "cut", "cut", "plant"])
few = settings(max_examples=14, phases=[Phase.explicit, Phase.reuse, Phase.generate])


@dataclass(frozen=True)
class Scene:
    """A stage, a second plot of its site, and one of another site."""

    stage: Stage
    plots: tuple[Plot, Plot]

    def entered(self, seed: int, length: int) -> list[Doing]:
        doings = Writer(self.stage, seed).write(length)
        for doing in doings:
            enter(self.stage, doing)
        return doings

    def otherwise(self, doings: list[Doing], kind: str, seed: int) -> tuple[Doing, dict[str, Any]]:
        """One of the doings of that kind as it should have been, and the amendment that says so.

        Where there is none of that kind it is a cutting, or else the collection that is always
        there.
        """
        rng = random.Random(seed)
        of_kind = [doing for doing in doings if doing.kind == kind]
        chosen = rng.choice(of_kind or [d for d in doings if d.kind == "cut"] or doings[:1])
        if chosen.kind == "collect":
            codes = [code for code in self.stage.colony_codes if code != chosen.values["colony"]]
            change: dict[str, Any] = {"colony": rng.choice(codes)}
            return replace(chosen, values={**chosen.values, **change}), change
        if chosen.kind == "plant":
            change = {"plot": rng.choice(self.plots).code}
            return replace(chosen, values={**chosen.values, **change}), change
        rows = [dict(row) for row in chosen.values["sources"]]
        # Mostly mothers that may have lived by then: any other is refused.
        until = chosen.day if rng.random() < 0.8 else chosen.day + len(doings)
        born = [row["code"] for doing in doings if doing.day < until for row in _made(doing)]
        swaps = []
        for row in rng.sample(rows, rng.randint(1, len(rows))):
            named = {each["ramet"] for each in rows}
            free = [code for code in born if code not in named] or [row["ramet"]]
            used_up = row["used_up"] ^ (free == [row["ramet"]] or rng.random() < 0.3)
            swap = {"instead_of": row["ramet"], "used_up": used_up}
            row["used_up"] = used_up
            row["ramet"] = swap["ramet"] = rng.choice(free)
            swaps.append(swap)
        return replace(chosen, values={**chosen.values, "sources": rows}), {"sources": swaps}

    def amend(self, doing: Doing, change: dict[str, Any]) -> None:
        said = {"event": str(doing.uid), "reason": "the slate says so", **change}
        amend(self.stage.programme.lead, read(AmendIn, said))

    def entered_so(self, doings: list[Doing]) -> bool:
        """Whether all these can be entered in the order of their days; nothing of it is kept."""
        with transaction.atomic():
            try:
                for doing in doings:
                    enter(self.stage, doing)
            except Trouble:
                return False
            finally:
                transaction.set_rollback(True)
        return True


def _made(doing: Doing) -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = doing.values.get("pieces") or doing.values.get("children") or []
    return made


def standing_rows() -> dict[str, Counter[str]]:
    """Every row that stands, whatever its id: what is taken out and put back has another."""
    return {
        label: Counter(str(row[1:] if label in _NUMBERED else row) for row in rows)
        for label, rows in live_rows().items()
    }


_NUMBERED = {"lineage.Source", "lineage.Step"}


@pytest.fixture(scope="module")
def scene(standing: f.Programme) -> Scene:
    lead = standing.lead
    plots = f.plot(lead, standing.site), f.plot(lead, f.site(lead))
    return Scene(stage(standing), plots)


@given(seed=seeds, length=lengths, kind=kinds)
@few
def test_what_is_amended_is_as_if_it_had_been_entered_so(
    scene: Scene, seed: int, length: int, kind: str
) -> None:
    with transaction.atomic():
        doings = scene.entered(seed, length)
        changed, change = scene.otherwise(doings, kind, seed)
        anew = [changed if doing.uid == changed.uid else doing for doing in doings]
        try:
            scene.amend(changed, change)
        except Refused:
            taken = False
            assert on_record() == reckoned(scene.stage, doings)
        else:
            taken = True
            assert on_record() == reckoned(scene.stage, anew)
        nothing_wrong()
        transaction.set_rollback(True)
    assert scene.entered_so(anew) == taken


@given(seed=seeds, length=lengths, kind=kinds)
@few
def test_what_was_amended_and_undone_is_what_it_was(
    scene: Scene, seed: int, length: int, kind: str
) -> None:
    with transaction.atomic():
        doings = scene.entered(seed, length)
        before, rows = on_record(), standing_rows()
        changed, change = scene.otherwise(doings, kind, seed)
        try:
            scene.amend(changed, change)
        except Refused:
            pass
        else:
            undo_amendment(scene.stage.programme.lead, changed.uid, "the slate was wrong")
        assert on_record() == before
        assert standing_rows() == rows
        nothing_wrong()
        transaction.set_rollback(True)
