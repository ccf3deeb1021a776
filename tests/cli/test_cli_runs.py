"""A doubted sensor through the installed command: told, mended by the command told, taken back."""

from __future__ import annotations

import re
import shlex

from shop import LogWriter, Shop

TOLD = re.compile(r"`babbitt (run reread .+?)`")


def test_the_command_that_is_told_mends_what_is_told(shop: Shop, write_log: LogWriter) -> None:
    log = write_log()
    lines = log.read_text(encoding="utf-8").splitlines()
    cells = [line.split(",") for line in lines[2:]]
    offset = [[*row[:2], f"{float(row[2]) + 24.0:.3f}", *row[3:]] for row in cells]
    log.write_text("\n".join([*lines[:2], *map(",".join, offset)]) + "\n", encoding="utf-8")

    (intake,) = shop("ingest", log, "--engine", "E1", "--json").json
    (warning,) = [said for said in intake["warnings"] if "at rest" in said]
    assert warning.startswith("Oil pressure reads 24 kPa for 2 s with the engine at rest")
    run_id, command = intake["run_id"], TOLD.search(warning)
    assert command is not None
    assert warning in " ".join(shop("run", "show", run_id).out.split())

    reread = shop(*shlex.split(command[1]), "--note", "sensor drifts")
    assert reread.status == 0
    assert "Oil pressure: less 2" in reread.out
    shown = shop("run", "show", run_id, "--json").json
    assert shown["doubts"] == []
    assert list(shown["read_as"]["offsets"]) == ["oil_pressure"]
    assert shop("verify").status == 0

    assert f"read the log of the run {run_id} of E1 again" in shop("undo").out
    assert len(shop("run", "show", run_id, "--json").json["doubts"]) == 1
    assert shop("run", "trust", run_id, "--note", "primed by a pump").status == 0
    assert shop("run", "show", run_id, "--json").json["doubts"] == []


def test_what_cannot_be_read_so_is_refused_in_a_sentence(shop: Shop, write_log: LogWriter) -> None:
    (intake,) = shop("ingest", write_log(), "--engine", "E1", "--json").json
    run_id = intake["run_id"]
    for words, said in (
        (("--swap", "boost=oil_pressure"), "This run has no boost to exchange"),
        (("--unit", "oil_pressure=°C"), "'°C' is no unit of oil_pressure"),
        (("--map", "Ch 9=boost"), "it has no column 'Ch 9'"),
    ):
        refused = shop("run", "reread", run_id, *words)
        assert refused.status == 1
        assert said in " ".join(refused.err.split())
