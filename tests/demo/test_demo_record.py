"""The demo's workshop record: its calendar holds, its findings can be used and are explained."""

import csv
import io
import json
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

import demo_logs
from babbitt.model.damage_modes import causes, mode_named
from babbitt.model.engine_layout import EngineLayout
from babbitt.model.engine_spec import parse_spec
from babbitt.model.finding import Finding, Measurement
from babbitt.model.positions import positions_of, require_position
from babbitt.teardown.comparison import wear
from babbitt.teardown.findings_file import read_findings

HERE = Path(demo_logs.__file__).parent
FOUR = EngineLayout("inline", 4)
SEASON = tomllib.loads((HERE / "season.toml").read_text(encoding="utf-8"))
TRUTH = json.loads((HERE / "truth.json").read_text(encoding="utf-8"))
KIND = {part["id"]: part["kind"] for part in SEASON["part"]}
FAR = datetime(2100, 1, 1, tzinfo=UTC)
A_DAY = timedelta(days=1)


def starts_of(engine: dict[str, Any]) -> list[datetime]:
    return [engine["built_at"], *(refresh["at"] for refresh in engine["refresh"])]


def findings_of(teardown: dict[str, Any]) -> tuple[Finding, ...]:
    text = (HERE / teardown["findings"]).read_text(encoding="utf-8")
    return read_findings(text, source=teardown["findings"], format="toml")


def teardowns_of(engine_id: str) -> list[dict[str, Any]]:
    return [teardown for teardown in SEASON["teardown"] if teardown["engine"] == engine_id]


def fitted(engine_id: str, at: datetime) -> dict[tuple[str, str | None], str]:
    """What sat in an engine: (kind, position) -> part."""
    return {
        (KIND[fit["part"]], fit.get("position")): fit["part"]
        for fit in SEASON["fitment"]
        if fit["engine"] == engine_id and fit["at"] <= at < fit.get("removed_at", FAR)
    }


def was_out(part: str, since: datetime, until: datetime) -> bool:
    return any(work["part"] == part and since < work["since"] <= until for work in SEASON["work"])


def as_built(build: dict[str, Any]) -> dict[tuple[str | None, str, str | None], Measurement]:
    """What was measured of a fresh build: (part, name, position) -> measurement."""
    return {
        (row.get("part"), row["name"], row.get("position")): Measurement(
            row["name"], row["value"], row["unit"], row["low"], row["high"]
        )
        for row in build["measurements"]
    }


def what_followed(part: str, teardown: datetime) -> str:
    """The disposition that the calendar shows."""
    fits = [fit for fit in SEASON["fitment"] if fit["part"] == part]
    if any(f["at"] < teardown and f.get("removed_at", FAR) - teardown > A_DAY for f in fits):
        return "reuse"
    again = min((fit["at"] for fit in fits if fit["at"] > teardown), default=FAR)
    if was_out(part, teardown, again):
        return "send_out"
    return "reuse" if again < FAR else "replace"


def doses_in(engine_id: str, since: datetime, until: datetime) -> dict[str, float]:
    """Planted dose of each kind in a stretch of an engine's life."""
    doses: dict[str, float] = {}
    for log in TRUTH["logs"]:
        if log["engine"] == engine_id and since <= datetime.fromisoformat(log["started"]) < until:
            for event in log["events"]:
                doses[event["kind"]] = doses.get(event["kind"], 0.0) + event["dose"]
    return doses


def spans() -> Iterator[tuple[dict[str, Any], int, datetime, datetime]]:
    """Engine, number, beginning and end of every build."""
    for engine in SEASON["engine"]:
        starts = starts_of(engine)
        for number, span in enumerate(pairwise([*starts, FAR]), start=1):
            yield engine, number, *span


def share_of_life(engine_id: str, number: int, kind: str) -> float:
    engine, _, since, until = next(s for s in spans() if (s[0]["id"], s[1]) == (engine_id, number))
    spec = parse_spec((HERE / engine["spec"]).read_text(encoding="utf-8"), source="spec")
    life = spec.life.of(kind)
    assert life is not None
    return doses_in(engine_id, since, until).get(kind, 0.0) / life


def test_every_engine_has_three_builds_or_more_in_order() -> None:
    for engine in SEASON["engine"]:
        starts = starts_of(engine)
        assert len(starts) >= 3
        assert starts == sorted(starts)


def test_one_teardown_ends_every_build_but_the_last() -> None:
    for engine, number, since, until in spans():
        torn = [t["at"] for t in teardowns_of(engine["id"]) if since <= t["at"] < until]
        runs = [
            datetime.fromisoformat(log["started"])
            for log in TRUTH["logs"]
            if log["engine"] == engine["id"]
            and since <= datetime.fromisoformat(log["started"]) < until
        ]
        is_last = number == len(starts_of(engine))
        assert len(runs) >= 2
        assert len(torn) == (0 if is_last else 1)
        assert all(max(runs) < at for at in torn)


def test_the_last_builds_tell_the_story() -> None:
    assert 0.9 < share_of_life("NB-01", 3, "oil_starvation") < 1.15
    assert 0.5 < share_of_life("NB-02", 3, "low_oil_pressure") < 0.9
    for kind in ("oil_starvation", "low_oil_pressure", "over_rev"):
        assert share_of_life("NB-03", 3, kind) < 0.1


def test_the_build_before_was_starved_to_its_life_and_the_first_was_not() -> None:
    assert 0.9 < share_of_life("NB-01", 2, "oil_starvation") < 1.1
    assert 0.0 < share_of_life("NB-01", 1, "oil_starvation") < 0.1
    assert share_of_life("NB-02", 2, "low_oil_pressure") > 0.7
    assert share_of_life("NB-03", 1, "over_rev") > 0.5


def test_parts_are_of_known_kinds_and_sit_where_such_parts_can() -> None:
    assert len(KIND) == len(SEASON["part"])
    for fit in SEASON["fitment"]:
        require_position(KIND[fit["part"]], fit.get("position"), FOUR)
        one_only = not positions_of(KIND[fit["part"]], FOUR)
        assert ("position" in fit) != one_only


def test_no_part_is_in_two_places_at_once() -> None:
    for part in KIND:
        stays = [
            (fit["at"], fit.get("removed_at", FAR))
            for fit in SEASON["fitment"]
            if fit["part"] == part
        ]
        stays += [
            (work["since"], work.get("back", FAR))
            for work in SEASON["work"]
            if work["part"] == part
        ]
        assert stays, part
        for (since, until), (following, _) in pairwise(sorted(stays)):
            assert since < until <= following


def test_every_build_has_one_part_in_every_place_until_it_is_stripped() -> None:
    places = set(fitted("NB-01", SEASON["engine"][0]["built_at"]))
    assert len(places) == 17
    for engine, _, since, until in spans():
        inside = [
            (KIND[fit["part"]], fit.get("position"))
            for fit in SEASON["fitment"]
            if fit["engine"] == engine["id"] and fit["at"] <= since < fit.get("removed_at", FAR)
        ]
        assert len(inside) == len(places)
        assert set(inside) == places
        for teardown in teardowns_of(engine["id"]):
            if since <= teardown["at"] < until:
                assert fitted(engine["id"], teardown["at"]) == fitted(engine["id"], since)


def test_parts_are_carried_over_between_builds_and_between_engines() -> None:
    engines_of: dict[str, set[str]] = {}
    for fit in SEASON["fitment"]:
        engines_of.setdefault(fit["part"], set()).add(fit["engine"])
    assert {part for part, engines in engines_of.items() if len(engines) > 1} == {"HD-1", "HD-2"}
    for engine in SEASON["engine"]:
        for before, after in pairwise(starts_of(engine)):
            carried = set(fitted(engine["id"], before).items()) & set(
                fitted(engine["id"], after).items()
            )
            assert carried


def test_one_crank_is_out_for_work_and_others_came_back_with_a_result() -> None:
    out = [work for work in SEASON["work"] if "back" not in work]
    assert [KIND[work["part"]] for work in out] == ["crankshaft"]
    assert all(work["due"] > work["since"] and work["what"] and work["where"] for work in out)
    assert all(work["result"] for work in SEASON["work"] if "back" in work)


def test_refresh_lines_say_what_the_fitments_show() -> None:
    for engine in SEASON["engine"]:
        for teardown, refresh in zip(teardowns_of(engine["id"]), engine["refresh"], strict=True):
            before = fitted(engine["id"], teardown["at"])
            after = fitted(engine["id"], refresh["at"])
            told = {}
            for line in refresh["lines"]:
                require_position(line["part"], line.get("position"), FOUR)
                if "fitted" in line:
                    told[(line["part"], line.get("position"))] = (line["fitted"], line["action"])
            expected = {}
            for place, part in after.items():
                action = "replaced"
                if before[place] == part:
                    out = was_out(part, teardown["at"], refresh["at"])
                    action = "reworked" if out else "reused"
                expected[place] = (part, action)
            assert told == expected


def test_as_built_measurements_recur_from_build_to_build_and_keep_their_tolerance() -> None:
    for engine in SEASON["engine"]:
        sheets = [as_built(build) for build in (engine, *engine["refresh"])]
        assert all(built.within_tolerance for sheet in sheets for built in sheet.values())
        assert len(set.intersection(*map(set, sheets))) >= 13


def test_nothing_grows_back_between_build_and_teardown() -> None:
    compared = 0
    for engine in SEASON["engine"]:
        builds = (engine, *engine["refresh"])
        for build, teardown in zip(builds, teardowns_of(engine["id"]), strict=False):
            sheet = as_built(build)
            for finding in findings_of(teardown):
                if finding.measurement:
                    place = (finding.part, finding.measurement.name, finding.position)
                    if place in sheet:
                        assert wear(sheet[place], finding.measurement) >= 0.0
                        compared += 1
    assert compared > 50


@pytest.mark.parametrize("teardown", SEASON["teardown"], ids=lambda teardown: teardown["findings"])
def test_dispositions_say_what_became_of_the_parts(teardown: dict[str, Any]) -> None:
    there = fitted(teardown["engine"], teardown["at"])
    for finding in findings_of(teardown):
        require_position(finding.part, finding.position, FOUR)
        for (kind, position), part in there.items():
            if finding.part == kind and finding.position in (None, position):
                assert finding.disposition == what_followed(part, teardown["at"]), (part, finding)


def test_damage_modes_are_many_and_most_looks_find_parts_sound() -> None:
    found = [finding for teardown in SEASON["teardown"] for finding in findings_of(teardown)]
    damaged = [finding for finding in found if finding.grade > 0]
    assert len({(finding.part, finding.damage_mode) for finding in damaged}) >= 8
    assert len(found) - len(damaged) > 5 * len(damaged)
    assert sum(finding.measurement is not None for finding in found) > 80
    beyond = [f for f in found if f.measurement and f.measurement.within_tolerance is False]
    assert {finding.grade for finding in beyond} == {3}


def test_the_truth_names_a_cause_for_every_finding_above_sound_and_for_no_other() -> None:
    for teardown, known in zip(SEASON["teardown"], in_order(TRUTH["teardowns"]), strict=True):
        assert known["findings"] == teardown["findings"]
        assert {(c["part"], c["position"]) for c in known["causes"]} == {
            (f.part, f.position) for f in findings_of(teardown) if f.grade > 0
        }


def test_true_causes_are_known_to_the_damage_mode_and_were_logged_in_that_build() -> None:
    unexplained = []
    for known in TRUTH["teardowns"]:
        teardown = next(t for t in SEASON["teardown"] if t["findings"] == known["findings"])
        found = {(f.part, f.position): f for f in findings_of(teardown)}
        since = max(
            start
            for engine in SEASON["engine"]
            for start in starts_of(engine)
            if engine["id"] == known["engine"] and start < teardown["at"]
        )
        doses = doses_in(known["engine"], since, teardown["at"])
        for told in known["causes"]:
            finding = found[(told["part"], told["position"])]
            assert finding.damage_mode
            mode = mode_named(finding.part, finding.damage_mode)
            if told["cause"] == "unlogged":
                unexplained.append((mode.part, mode.name))
                continue
            assert told["cause"] in mode.causes
            kind = causes()[told["cause"]].kind
            assert kind
            assert doses[kind] > 0.0
    assert unexplained == [("valve_seat", "uneven_contact"), ("valve_retainer", "face_rubbed")]


def test_findings_show_two_small_photos_which_are_jpeg_files() -> None:
    shown = {
        (HERE / teardown["findings"]).parent / photo
        for teardown in SEASON["teardown"]
        for finding in findings_of(teardown)
        for photo in finding.photos
    }
    assert {path.resolve() for path in shown} == {
        path.resolve() for path in (HERE / "findings" / "photos").iterdir()
    }
    assert len(shown) == 2
    for path in shown:
        assert path.stat().st_size < 60_000
        with Image.open(path) as image:
            image.load()
            assert image.format == "JPEG"
            assert not image.getexif()


def test_history_is_of_known_subjects_and_from_before_their_first_log() -> None:
    rows = list(csv.DictReader(io.StringIO((HERE / SEASON["history"]).read_text("utf-8"))))
    assert list(rows[0]) == ["subject", "running_h", "revolutions", "until", "note"]
    first_log = {log["engine"]: log["started"] for log in reversed(in_start_order())}
    for row in rows:
        until = datetime.fromisoformat(row["until"])
        fits = [fit["at"] for fit in SEASON["fitment"] if fit["part"] == row["subject"]]
        if row["subject"] in first_log:
            assert until < datetime.fromisoformat(first_log[row["subject"]])
        else:
            assert until < min(fits)
        assert 1000.0 < float(row["revolutions"]) / (60.0 * float(row["running_h"])) < 8000.0
    assert {row["subject"] for row in rows} & set(first_log)


def in_order(teardowns: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return sorted(teardowns, key=lambda teardown: teardown["at"])


def in_start_order() -> list[dict[str, Any]]:
    return sorted(TRUTH["logs"], key=lambda log: log["started"])
