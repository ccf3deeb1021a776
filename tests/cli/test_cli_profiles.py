"""A profile saved once: its kind of log is known again without naming it."""

from __future__ import annotations

import tomllib
from pathlib import Path

from shop import Shop, run

LOG = "Logger: {serial}\nStart: {start}\nTime (s),RPM (1/min),Ch 7,Lat G (g)\n" + "".join(
    f"{i / 10:.1f},{4000 + i},{58 + i % 3},{0.01 * (i % 5):.2f}\n" for i in range(100)
)


def write(path: Path, *, serial: int, start: str) -> Path:
    path.write_text(LOG.format(serial=serial, start=start), encoding="utf-8")
    return path


def save(shop: Shop, log: Path, name: str, unit: str) -> None:
    said = shop(
        *("preview", log, "--map", "Ch 7=oil_pressure", "--unit", f"oil_pressure={unit}"),
        *("--lateral-positive", "right", "--save-profile", name),
    )
    assert said.status == 0, said.err


def test_a_saved_profile_knows_its_kind_of_log(shop: Shop, tmp_path: Path) -> None:
    settings = shop.book / "logbook.toml"
    before = settings.read_text(encoding="utf-8")
    first = write(tmp_path / "a.csv", serial=10442, start="2026-05-03T10:00:00Z")
    save(shop, first, "pit", "psi")
    text = settings.read_text(encoding="utf-8")
    assert text.startswith(before), "comments and all else stay as they were"
    saved = tomllib.loads(text)["profile"]["pit"]
    assert saved.pop("fingerprint")
    assert saved == {
        "columns": {"Ch 7": "oil_pressure"},
        "units": {"oil_pressure": "psi"},
        "lateral_positive": "right",
    }

    other = write(tmp_path / "b.csv", serial=20871, start="2026-06-14T15:00:00Z")
    (intake,) = shop("ingest", other, "--engine", "E1", "--json").json
    assert (intake["status"], intake["profile"]) == ("ingested", "pit")
    assert "oil_pressure" in intake["channels"]
    assert "pit" in shop("ingest", first, "--engine", "E1").out
    assert shop("preview", other, "--json").json["profile_name"] == "pit"


def test_two_profiles_that_fit_equally_are_refused_until_one_is_named(
    shop: Shop, tmp_path: Path
) -> None:
    log = write(tmp_path / "a.csv", serial=1, start="2026-05-03T10:00:00Z")
    save(shop, log, "car-1", "psi")
    refused = shop("preview", log, "--profile", "car-1", "--save-profile", "car-1")
    assert refused.status == 1
    assert "[profile.car-1] already" in refused.err
    said = shop("preview", log, "--unit", "oil_pressure=bar", "--save-profile", "car-2")
    assert "car-1 and car-2 now know this kind of log" in said.out
    (intake,) = shop("ingest", log, "--engine", "E1", "--json").json
    assert (intake["status"], intake["option"]) == ("refused", "--profile car-1")
    (intake,) = shop("ingest", log, "--engine", "E1", "--profile", "car-2", "--json").json
    assert (intake["status"], intake["profile"]) == ("ingested", "car-2")


def test_a_profile_is_not_saved_where_there_is_no_logbook(tmp_path: Path) -> None:
    log = write(tmp_path / "a.csv", serial=1, start="2026-05-03T10:00:00Z")
    said = run("preview", log, "--save-profile", "pit", cwd=tmp_path)
    assert said.status == 1
    assert "is not a logbook" in said.err
