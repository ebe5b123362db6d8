"""Loading a folder: what is stored, in which order, and what a second load does."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.errors import NotAllowed
from nursery.core.models import Change, Event, EventKind
from nursery.donors.models import Collection, DonorColony, Genet
from nursery.donors.positions import of_colonies
from nursery.exchange.loading import loader
from nursery.lineage.models import Intake, Ramet
from nursery.lineage.words import Cause, Life, Origin, Place
from nursery.outplanting.models import Observation
from nursery.places.models import Nursery, Plot, Structure
from tests import factories as f
from tests.exchange.conftest import CUT, SMALL, WILD, Folder
from tests.refusals import everything_stored


def test_a_folder_with_one_of_everything_is_loaded(folder: Folder) -> None:
    folder.put_small()
    report = folder.load()
    assert report.faults == []
    assert {stem: tally.new for stem, tally in report.tallies.items()} == {
        stem: text.count("\n") - 1 for stem, text in SMALL.items() if stem in report.tallies
    }
    assert Event.objects.count() == 2 + 9  # two structures stand, and nine events
    planted = Ramet.objects.get(code=CUT[0])
    assert (planted.place, planted.life, planted.generation) == (Place.PLOT, Life.LIVING, 1)
    assert planted.genet is not None
    assert planted.genet.name == "Ember"
    dead = Ramet.objects.get(code=CUT[1])
    assert (dead.life, dead.cause) == (Life.DEAD, Cause.STORM)
    assert Ramet.objects.get(code=WILD[0]).life == Life.USED_UP


def test_an_intake_names_its_collection_by_key_and_a_piece_by_number(folder: Folder) -> None:
    folder.put_small()
    folder.load()
    intake = Intake.objects.get()
    assert intake.collection == Collection.objects.get()
    second = Ramet.objects.get(code=WILD[1])
    assert second.structure is not None
    assert second.structure.code == "N-02"


def test_structures_stand_where_their_file_says_since_that_day(folder: Folder) -> None:
    folder.put_small()
    folder.put(
        "structures",
        SMALL["structures"].replace("since,bay", "since,bay,parent,cell").replace("TANK", "TANK,,")
        + "ROCK,rock,1,3,,2021-12-02,,N-01,C3\n",
    )
    folder.load()
    rock = Structure.objects.get(code="ROCK")
    assert rock.parent is not None
    assert (rock.parent.code, str(rock.parent_cell)) == ("N-01", "C3")
    assert rock.nursery == Nursery.objects.get()
    plate = Structure.objects.get(code="N-01")
    assert plate.grid is not None
    assert plate.grid.capacity == 117


def test_a_colony_without_a_genet_gets_a_presumed_one(folder: Folder) -> None:
    folder.put_small()
    folder.load()
    colony = DonorColony.objects.select_related("genet").get(code="GULL-2")
    assert colony.genet.code == "G-GULL-2"
    assert colony.genet.status == Genet.Status.PRESUMED


def test_feet_become_metres(folder: Folder) -> None:
    # 12 ft = 3.6576 m: the foot of 1959 is 0.3048 m.
    folder.put_small()
    folder.load()
    assert str(DonorColony.objects.get(code="GULL-1").depth_m) == "3.7"
    assert str(Collection.objects.get().depth_m) == "3.4"
    assert str(Observation.objects.get(colony__isnull=False).size_cm) == "120.0"


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [
        ("-10.5083", "86.25"),
        ("10 30.498 S", "86 15 E"),
        ("10°30'29.88\" S", "86°15'0\" E"),
        ("S 10.5083", "E 86.25"),
    ],
)
def test_positions_are_read_in_every_usual_notation(
    folder: Folder, latitude: str, longitude: str
) -> None:
    folder.put_small("reefs", "taxa")
    cells = '","'.join(text.replace('"', '""') for text in (latitude, longitude))
    folder.put("colonies", f'code,taxon,reef,latitude,longitude\nX,PAP,GULL,"{cells}"\n')
    assert folder.load().faults == []
    colony = DonorColony.objects.get()
    seen = of_colonies(folder.actor, [colony])[colony.pk]
    assert seen.exact
    assert (float(seen.latitude), float(seen.longitude)) == pytest.approx((-10.5083, 86.25))


def test_the_same_folder_twice_changes_nothing(folder: Folder) -> None:
    folder.put_small()
    folder.load()
    before = everything_stored()
    again = folder.load()
    assert everything_stored() == before
    assert again.faults == []
    assert [(tally.new, tally.edited) for tally in again.tallies.values()] == [(0, 0)] * len(
        again.tallies
    )
    assert sum(tally.unchanged for tally in again.tallies.values()) > 0


def test_a_changed_register_row_is_edited_with_its_history(folder: Folder) -> None:
    folder.put_small()
    folder.load()
    folder.change("plots", "ROSE-1,ROSE,5,25", "ROSE-1,ROSE,6,25")
    report = folder.load()
    tally = report.tallies["plots"]
    assert (tally.new, tally.unchanged, tally.edited) == (0, 0, 1)
    plot = Plot.objects.get()
    assert (str(plot.depth_m), plot.version) == ("6.0", 2)
    change = Change.objects.filter(register="places.plot").first()
    assert change is not None
    assert change.before == {"depth_m": "5"}
    assert change.by_id == folder.actor.user_id


def test_an_emptied_cell_empties_the_value(folder: Folder) -> None:
    folder.put_small()
    folder.load()
    folder.change("genets", "Ember", "")
    assert folder.load().tallies["genets"].edited == 1
    assert Genet.objects.get(code="G-1").name == ""


def test_a_column_that_is_not_there_leaves_its_values_alone(folder: Folder) -> None:
    folder.put_small()
    folder.load()
    folder.put("plots", "code,site\nROSE-1,ROSE\n")
    assert folder.load().tallies["plots"].unchanged == 1
    assert str(Plot.objects.get().area_m2) == "25.0"


def test_a_moved_colony_keeps_its_genet_and_gets_the_new_position(folder: Folder) -> None:
    folder.put_small()
    folder.load()
    folder.put(
        "colonies",
        SMALL["colonies"].replace("GULL-2,PAP,,GULL,3.5,,,", "GULL-2,PAP,,GULL,3.5,-10.85,86.32,"),
    )
    assert folder.load().tallies["colonies"].edited == 1
    colony = DonorColony.objects.select_related("genet").get(code="GULL-2")
    assert colony.genet.code == "G-GULL-2"
    assert float(of_colonies(folder.actor, [colony])[colony.pk].latitude) == -10.85


def test_another_series_of_a_nursery_is_an_edit(folder: Folder) -> None:
    folder.put_small("nurseries")
    folder.load()
    folder.change("nurseries", "land,NB", "land,NC")
    assert folder.load().tallies["nurseries"].edited == 1
    series = Nursery.objects.select_related("series").get().series
    assert series is not None
    assert series.prefix == "NC"


def test_a_changed_event_is_refused_and_stays_as_it_was(folder: Folder) -> None:
    folder.put_small()
    folder.load()
    folder.change("outplantings", "ROSE-1,epoxy", "ROSE-1,nail")
    before = everything_stored()
    assert folder.faults() == [("outplantings.csv", 2, "event", "uid_taken")]
    assert everything_stored() == before


def test_an_event_loaded_by_somebody_else_is_refused(folder: Folder) -> None:
    folder.put_small("nurseries", "taxa", "stock_entries", "legacy_ramets")
    folder.put("stock_entries", "event,when,nursery\nL-1,2021,NORTH\n")
    folder.load()
    folder.actor = f.lead()
    assert folder.faults() == [("stock_entries.csv", 2, "event", "uid_taken")]


def test_a_key_that_is_a_uuid_is_the_uid_itself(folder: Folder) -> None:
    uid = "0b5e0a52-6a6e-4a52-9f0c-3f2f6f4f9d11"
    folder.put_small("reefs")
    folder.put("visits", f"event,when,reef\n{uid},2023-05-01,GULL\n")
    folder.load()
    assert str(Event.objects.get().uid) == uid


def test_the_same_key_of_two_kinds_is_two_events(folder: Folder) -> None:
    folder.put_small("reefs", "taxa")
    folder.put("visits", "event,when,reef\n1,2023-05-01,GULL\n")
    folder.put("collections", "event,when,reef,taxon,count\n1,2023-05-01,GULL,PAP,2\n")
    assert folder.load().faults == []
    assert set(Event.objects.values_list("kind", flat=True)) == {
        EventKind.VISIT,
        EventKind.COLLECTION,
    }


def test_dates_decide_which_event_comes_first_whatever_the_files_order(folder: Folder) -> None:
    folder.put_small()
    late, early = "F-2,2022-09-01,2,N-01\n", "F-1,2022-07-01,6,N-01\n"
    folder.put("fragmentations", "event,when,count,structure\n" + late + early)
    folder.put("fragmentation_sources", SMALL["fragmentation_sources"] + f"F-2,{CUT[2]},\n")
    assert folder.load().faults == []
    assert Ramet.objects.filter(generation=2).count() == 2


def test_on_one_day_what_is_needed_comes_first(folder: Folder) -> None:
    folder.put_small()
    for stem, day in (("intakes", "2022-03-05"), ("fragmentations", "2022-07-01")):
        folder.change(stem, day, "2022-03-04")
    assert folder.load().faults == []


def test_a_collection_with_a_time_comes_before_its_intake_of_that_day(folder: Folder) -> None:
    folder.put_small()
    folder.change("collections", "2022-03-04", "2022-03-04T10:30")
    folder.change("intakes", "2022-03-05", "2022-03-04")
    assert folder.load().faults == []


def test_a_vague_intake_comes_after_its_collection(folder: Folder) -> None:
    folder.put_small()
    folder.change("intakes", "2022-03-05", "2022-03")
    assert folder.load().faults == []


def test_a_vague_date_is_kept_as_it_is(folder: Folder) -> None:
    folder.put_small()
    folder.change("collections", "2022-03-04", "2022-03-01/2022-03-04")
    folder.load()
    assert str(Collection.objects.get().event.when) == "2022-03-01/2022-03-04"


def test_pieces_without_rows_are_made_by_count(folder: Folder) -> None:
    folder.put_small("reefs", "taxa")
    folder.put("collections", "event,when,reef,taxon,count\nC-9,2022-01-05,GULL,PAP,4\n")
    folder.load()
    assert Ramet.objects.filter(origin=Origin.COLLECTED, genet=None).count() == 4


def test_several_names_in_a_cell_are_several_people_and_permits(folder: Folder) -> None:
    folder.put_small()
    folder.load()
    event = Collection.objects.get().event
    assert event.people == ["Ansa Merrow", "Ilo Ferrand"]
    assert [link.permit.code for link in event.permit_links.all()] == ["P-1"]


def test_a_check_tells_the_same_and_stores_nothing(folder: Folder) -> None:
    folder.put_small()
    before = everything_stored()
    report = folder.load(check=True)
    assert report.faults == []
    assert report.tallies["colonies"].new == 2
    assert everything_stored() == before


def test_one_refused_row_keeps_everything_out(folder: Folder) -> None:
    folder.put_small()
    folder.change("visits", "V-2,2023-05-02,,GULL", "V-2,2023-05-02,,NOWHERE")
    before = everything_stored()
    report = folder.load()
    assert [fault.code for fault in report.faults] == ["unknown_reef"]
    assert everything_stored() == before


def test_an_interruption_leaves_nothing_half_written(
    folder: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder.put_small()
    done: list[int] = []

    def interrupted(rows: int, known: int) -> None:
        done.append(rows)
        if rows > 20:
            raise KeyboardInterrupt

    before = everything_stored()
    with pytest.raises(KeyboardInterrupt):
        folder.load(progress=interrupted)
    assert max(done) > 20
    assert everything_stored() == before


def test_a_fault_of_the_program_leaves_nothing_half_written(
    folder: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*args: Any) -> None:
        raise RuntimeError("broken")

    folder.put_small()
    monkeypatch.setattr(loader, "values_of", broken)
    before = everything_stored()
    with pytest.raises(RuntimeError, match="broken"):
        folder.load()
    assert everything_stored() == before


def test_progress_counts_every_row_up_to_the_last(folder: Folder) -> None:
    folder.put_small()
    told: list[tuple[int, int]] = []
    folder.load(progress=lambda done, known: told.append((done, known)))
    assert told == sorted(told)
    # Two rows of structures also say where these stand, and count once more for that.
    rows = sum(text.count("\n") - 1 for text in SMALL.values()) + 2
    assert told[-1] == (rows, rows)


def counted_so_far(rows: int) -> None:
    """Let PostgreSQL believe that it has counted so many rows in each table."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("UPDATE pg_class SET reltuples = %s WHERE relkind = 'r'", [rows])


@pytest.mark.parametrize(("known", "again"), [(-1, True), (1_000_000, False)])
def test_postgresql_counts_its_tables_after_a_load_that_is_large_for_them(
    folder: Folder, known: int, again: bool
) -> None:
    folder.put_small("taxa")
    counted_so_far(known)

    def counted() -> bool:
        with CaptureQueriesContext(connection) as queries:
            folder.load()
        return any(query["sql"].startswith("ANALYZE") for query in queries)

    assert counted() == (again and connection.vendor == "postgresql")
    # Nothing came in the second time.
    assert not counted()


def test_somebody_without_a_role_loads_nothing(folder: Folder) -> None:
    folder.put_small()
    folder.actor = f.actor()
    with pytest.raises(NotAllowed) as refused:
        folder.load()
    assert refused.value.code == "no_role"


def test_a_viewer_is_refused_row_by_row(folder: Folder) -> None:
    folder.put_small("taxa")
    folder.actor = f.viewer()
    assert folder.faults() == [("taxa.csv", 2, "", "not_allowed")]
