"""The demo's files: made anew byte for byte, and as rich as a demo has to be."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path

import pytest

from fixtures.make_demo import DEMO, main
from nursery.core.codes import parse_code
from nursery.core.coordinates import parse_position
from nursery.core.dates import parse_when
from nursery.core.geodesy import Point, distance_m
from nursery.exchange.loading.files import STEMS

LAST_DAY = date(2026, 10, 31)
Row = dict[str, str]


@cache
def rows(stem: str) -> list[Row]:
    with (DEMO / f"{stem}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def births() -> Iterator[Row]:
    for stem in ("collection_pieces", "fragmentation_children", "legacy_ramets"):
        yield from rows(stem)


@cache
def generations() -> dict[str, int]:
    """The generation of each ramet whose descent is known, worked out from the files alone."""
    known = {row["code"]: 0 for row in rows("collection_pieces")}
    known |= {
        row["code"]: int(row["generation"]) for row in rows("legacy_ramets") if row["generation"]
    }
    sources: dict[str, list[str]] = {}
    for row in rows("fragmentation_sources"):
        sources.setdefault(row["event"], []).append(row["ramet"])
    children: dict[str, list[str]] = {}
    for row in rows("fragmentation_children"):
        children.setdefault(row["event"], []).append(row["code"])
    for event in rows("fragmentations"):
        mothers = sources[event["event"]]
        if all(mother in known for mother in mothers):
            generation = max(known[mother] for mother in mothers) + 1
            known |= dict.fromkeys(children[event["event"]], generation)
    return known


def test_the_files_are_made_anew_byte_for_byte(tmp_path: Path) -> None:
    main([str(tmp_path)])
    made = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    kept = {path.name: path.read_bytes() for path in DEMO.iterdir()}
    assert made.keys() == kept.keys()
    for name, content in made.items():
        assert content == kept[name], name


def test_there_is_a_file_of_every_kind_and_they_are_small() -> None:
    assert {path.stem for path in DEMO.iterdir()} == STEMS
    assert sum(path.stat().st_size for path in DEMO.iterdir()) < 3_000_000


@pytest.mark.parametrize(
    ("stem", "least"),
    [
        ("nurseries", 3),
        ("systems", 3),
        ("bays", 6),
        ("structures", 40),
        ("reefs", 6),
        ("colonies", 60),
        ("taxa", 12),
        ("permits", 4),
        ("collections", 60),
        ("intakes", 60),
        ("fragmentations", 150),
        ("moves", 50),
        ("structure_moves", 4),
        ("stock_entries", 3),
        ("sites", 4),
        ("plots", 12),
        ("outplants", 1500),
        ("visits", 8),
        ("checks", 300),
        ("findings", 5000),
    ],
)
def test_there_is_enough_of_everything(stem: str, least: int) -> None:
    assert len(rows(stem)) >= least


def test_there_are_six_thousand_ramets_with_right_codes_each_once() -> None:
    codes = [row["code"] for row in births()]
    assert len(codes) == len(set(codes)) >= 6000
    for code in codes:
        assert str(parse_code(code)) == code


def test_cuttings_go_eight_generations_deep() -> None:
    assert set(generations().values()) >= set(range(9))


def test_nothing_is_in_the_future() -> None:
    for stem in STEMS:
        for row in rows(stem):
            for column in ("when", "found_on", "closed_on", "confirmed_on", "since"):
                if row.get(column):
                    assert parse_when(row[column]).latest <= LAST_DAY, (stem, row)


def test_every_group_of_corals_is_there() -> None:
    groups = {row["group"] for row in rows("taxa")}
    assert groups == {"stony", "soft", "zoanthid", "corallimorph"}


def test_aphia_ids_stand_only_where_they_were_found_in_a_public_file() -> None:
    # The identifiers of shared/REFERENCES: Acropora 205469; none is guessed.
    assert {(row["name"], row["aphia_id"]) for row in rows("taxa") if row["aphia_id"]} == {
        ("Acropora", "205469")
    }


def test_every_kind_of_structure_is_there() -> None:
    kinds = Counter(row["kind"] for row in rows("structures"))
    assert kinds.keys() >= {"plate", "tray", "tree", "rope", "table", "rock"}
    plates = [row for row in rows("structures") if row["kind"] == "plate"]
    assert {(row["rows"], row["columns"], row["blocked"]) for row in plates} == {
        ("11", "11", "A1 K1 A11 K11")
    }
    rocks = [row for row in rows("structures") if row["kind"] == "rock"]
    assert {(row["rows"], row["columns"]) for row in rocks} == {("1", "3")}
    assert all(row["parent"] and row["cell"] for row in rocks)
    ropes = [row for row in rows("structures") if row["kind"] == "rope"]
    assert {(row["rows"], row["columns"]) for row in ropes} == {("", "")}


def test_reefs_lie_within_sixty_kilometres_and_colonies_on_their_reef() -> None:
    reefs = {
        row["code"]: Point(float(row["latitude"]), float(row["longitude"])) for row in rows("reefs")
    }
    assert max(distance_m(a, b) for a in reefs.values() for b in reefs.values()) < 60_000
    for row in rows("colonies"):
        place = parse_position(row["latitude"], row["longitude"])
        assert distance_m(place, reefs[row["reef"]]) < 1500


def test_positions_and_depths_are_written_in_several_ways() -> None:
    latitudes = [row["latitude"] for row in (*rows("colonies"), *rows("collections"))]
    for habit in (r"-\d+\.\d+", r"\d+ \d+\.\d+ S", r"\d+°\d+'[\d.]+\" S", r"S \d+\.\d+"):
        assert any(re.fullmatch(habit, text) for text in latitudes), habit
    depths = [row["depth"] for row in rows("collections")]
    assert any("ft" in depth for depth in depths)
    assert any("ft" not in depth for depth in depths)


def test_some_pieces_are_loose_and_some_were_lost_or_died_on_the_way() -> None:
    assert sum(not row["colony"] for row in rows("collections")) >= 3
    outcomes = Counter(row["outcome"] for row in rows("intake_pieces"))
    assert outcomes["lost"] >= 3
    assert outcomes["dead"] >= 3


def test_mothers_are_pooled_within_a_genet_and_now_and_then_across() -> None:
    mothers = Counter(row["event"] for row in rows("fragmentation_sources"))
    assert sum(n > 1 for n in mothers.values()) >= 50


def test_old_stock_names_its_genet_its_donors_or_nothing() -> None:
    stock = rows("legacy_ramets")
    assert any(row["genet"] and row["donors"] for row in stock)
    assert any(row["genet"] and not row["donors"] for row in stock)
    assert any(not row["genet"] and not row["donors"] for row in stock)


def test_every_purpose_and_tags_are_there() -> None:
    children = rows("fragmentation_children")
    assert {row["purpose"] for row in children} == {"", "broodstock", "reserve"}
    tags = [row["tag"] for row in (*children, *rows("intake_pieces"), *rows("legacy_ramets"))]
    tags = [tag for tag in tags if tag]
    assert len(tags) == len(set(tags)) >= 50


def test_one_permit_has_lapsed_one_does_not_cover_and_one_collection_has_none() -> None:
    permits = {row["code"]: row for row in rows("permits")}
    lapsed = uncovered = without = 0
    colonies = {row["code"]: row for row in rows("colonies")}
    for row in rows("collections"):
        if not row["permits"]:
            without += 1
            continue
        permit = permits[row["permits"]]
        day = parse_when(row["when"]).earliest.isoformat()
        lapsed += day > permit["valid_until"]
        reef = row["reef"] or colonies[row["colony"]]["reef"]
        uncovered += bool(permit["reefs"]) and reef not in permit["reefs"].split("; ")
    assert (lapsed >= 1, uncovered >= 1, without >= 1) == (True, True, True)


def test_outplants_have_position_cluster_and_fixing() -> None:
    assert all(row["position"] and row["cluster"] for row in rows("outplants"))
    assert len({row["fixing"] for row in rows("outplantings")}) >= 4
    plots = {row["plot"] for row in rows("outplantings")}
    assert plots == {row["code"] for row in rows("plots")}


def test_each_site_was_visited_twice_and_all_kinds_of_things_were_seen() -> None:
    visits = Counter(row["site"] for row in rows("visits") if row["site"])
    assert visits.keys() == {row["code"] for row in rows("sites")}
    assert min(visits.values()) == 2
    seen = [row for row in rows("observations") if row["ramet"]]
    assert {row["condition"] for row in seen} == {"alive", "dead", "missing"}
    assert len({row["cause"] for row in seen if row["cause"]}) >= 5
    assert sum(bool(row["tissue_lost"]) for row in seen) >= 50
    assert sum(bool(row["size"]) for row in seen) >= 100
    assert sum(bool(row["colony"]) for row in rows("observations")) >= 20
    looked_for = {row["ramet"] for row in seen}
    assert sum(row["ramet"] not in looked_for for row in rows("outplants")) >= 50


def test_every_kind_of_event_has_notes_as_from_the_field() -> None:
    for stem in (
        "collections",
        "intakes",
        "fragmentations",
        "moves",
        "structure_moves",
        "stock_entries",
        "outplantings",
        "visits",
        "checks",
    ):
        assert any(len(row["note"]) > 15 for row in rows(stem)), stem
