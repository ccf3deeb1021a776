"""The main job through the installed command: logs in, events and totals out."""

from __future__ import annotations

from pathlib import Path

import pytest

from shop import LogWriter, Shop, run


def test_a_log_becomes_a_run_with_its_events_and_totals(shop: Shop, write_log: LogWriter) -> None:
    taken = shop("ingest", write_log(), "--engine", "E1", "--json")
    assert taken.status == 0
    (intake,) = taken.json
    assert intake["status"] == "ingested"
    assert intake["rows"] == 1200
    assert intake["duration_s"] == pytest.approx(59.95)
    assert "oil_pressure" in intake["channels"]

    (event,) = shop("events", "--json").json
    # rpm crosses 7,600 on a ramp from 3,000 to 8,000 in a second, and back.
    assert event["kind"] == "over_rev"
    assert event["start_s"] == pytest.approx(29.92, abs=1e-6)
    assert event["duration_s"] == pytest.approx(0.16, abs=1e-6)
    assert event["at"].startswith("2026-05-03T10:00:29.92")

    totals = shop.totals()
    assert totals["runs"] == 1
    assert totals["starts"] == 1
    over_rev = totals["events"]["over_rev"]
    assert over_rev["count"] == 1
    assert over_rev["used"] == pytest.approx(event["dose"] / 900.0)
    assert totals["events"]["overboost"]["dose"] is None, "no boost channel: unknown, not zero"


def test_the_same_logs_again_are_duplicates_and_totals_stay(
    shop: Shop, write_log: LogWriter
) -> None:
    logs = [
        write_log(f"run{hour}.csv", start=f"2026-05-03T{hour:02d}:00:00Z") for hour in range(20)
    ]
    first = shop("ingest", *logs, "--engine", "E1", "--json")
    assert [each["status"] for each in first.json] == ["ingested"] * 20
    before = shop.totals()
    again = shop("ingest", *logs, "--engine", "E1", "--json")
    assert again.status == 0
    assert [each["status"] for each in again.json] == ["duplicate"] * 20
    assert [each["run_id"] for each in again.json] == [each["run_id"] for each in first.json]
    assert shop.totals() == before


def test_totals_begin_anew_at_a_refresh(shop: Shop, write_log: LogWriter) -> None:
    shop("ingest", write_log(), "--engine", "E1")
    assert shop("engine", "refresh", "E1", "--at", "2026-05-04", "--note", "bearings").status == 0
    assert shop.totals()["runs"] == 0
    assert shop.totals()["since"].startswith("2026-05-04")
    then = shop("totals", "E1", "--at", "2026-05-03T12:00", "--json").json[0]
    assert then["runs"] == 1
    assert then["events"]["over_rev"]["count"] == 1


def test_a_review_takes_an_event_out_and_survives_new_limits(
    shop: Shop, write_log: LogWriter
) -> None:
    shop("ingest", write_log(), "--engine", "E1")
    (event,) = shop("events", "--json").json
    said = shop("review", event["event_id"][:8], "sensor_fault", "--note", "pickup gap")
    assert said.status == 0
    assert shop.totals()["events"]["over_rev"]["count"] == 0

    spec = shop.folder / "spec.toml"
    spec.write_text(spec.read_text().replace("redline_rpm = 7600", "redline_rpm = 7500"))
    assert shop("engine", "spec", "E1", "--spec", spec).status == 0
    (after,) = shop("events", "--json").json
    assert after["event_id"] == event["event_id"]
    assert after["duration_s"] > event["duration_s"]
    assert after["spec_version"] != event["spec_version"]
    assert after["review"] == "sensor_fault"
    assert shop.totals()["events"]["over_rev"]["count"] == 0


def test_runs_can_be_assigned_removed_restored_and_added(shop: Shop, write_log: LogWriter) -> None:
    (intake,) = shop("ingest", write_log(), "--engine", "E1", "--json").json
    run_id = intake["run_id"]
    shop("engine", "add", "E2", "--spec", shop.folder / "spec.toml")

    assert shop("run", "remove", run_id, "--note", "dyno").status == 0
    assert shop.totals()["runs"] == 0
    assert shop("run", "restore", run_id).status == 0
    assert shop.totals()["events"]["over_rev"]["count"] == 1

    assert shop("run", "assign", run_id, "--engine", "E2", "--note", "wrong car").status == 0
    assert shop.totals()["runs"] == 0
    (event,) = shop("events", "--engine", "E2", "--json").json
    assert event["engine_id"] == "E2"

    added = shop("run", "add-unlogged", "E1", "--minutes", "30", "--at", "2026-05-05T09:00")
    assert added.status == 0
    assert shop.totals()["running_s"] == 1800.0
    assert shop.totals()["events"]["over_rev"]["dose"] is None
    assert shop("verify").status == 0


def test_a_preview_stores_nothing_and_says_what_is_missing(
    tmp_path: Path, write_log: LogWriter
) -> None:
    path = write_log()
    path.write_text(path.read_text().replace("Oil Press (kPa)", "Oil Press"))
    found = run("preview", path, "--json", cwd=tmp_path)
    assert found.status == 0
    assert found.json["options"] == ["--unit oil_pressure=kPa"]
    column = next(c for c in found.json["columns"] if c["name"] == "oil_pressure")
    assert column["plausible"][0] == "kPa"
    assert "[profile." in found.json["profile"]
    assert list(tmp_path.glob("*")) == [path]


def test_a_preview_prints_headers_as_they_are(tmp_path: Path, write_log: LogWriter) -> None:
    path = write_log()
    path.write_text(path.read_text().replace("Oil Press (kPa)", "Oil Press [kPa]"))
    assert "[kPa]" in run("preview", path, cwd=tmp_path).out


def test_every_listing_prints_json_and_nothing_else(shop: Shop, write_log: LogWriter) -> None:
    shop("ingest", write_log(), "--engine", "E1")
    for words in (["engine", "list"], ["events"], ["totals"], ["run", "list"], ["detect"]):
        result = shop(*words, "--json")
        assert result.status == 0
        assert isinstance(result.json, list)
        assert result.err == ""
    assert shop("verify", "--json").json == {"runs": 1, "faults": [], "unfinished": []}


def test_an_imperial_logbook_shows_imperial_units(shop: Shop, write_log: LogWriter) -> None:
    settings = shop.book / "logbook.toml"
    settings.write_text(settings.read_text().replace('"metric"', '"imperial"'))
    shop("ingest", write_log(), "--engine", "E1")
    assert "°F·s" in shop("totals", "E1").out
    assert "°C" not in shop("totals", "E1").out


def test_a_late_log_gives_the_same_events_as_one_in_time(
    shop: Shop, write_log: LogWriter, tmp_path: Path
) -> None:
    logs = [write_log(f"r{day}.csv", start=f"2026-05-0{day}T10:00:00Z") for day in (1, 2, 3)]
    shop("ingest", *logs, "--engine", "E1")
    in_order = shop("events", "--json").json
    other = tmp_path / "other"
    run("new", other)
    run("--logbook", other, "engine", "add", "E1", "--spec", shop.folder / "spec.toml")
    for log in reversed(logs):
        run("--logbook", other, "ingest", log, "--engine", "E1")
    assert run("--logbook", other, "events", "--json").json == in_order
