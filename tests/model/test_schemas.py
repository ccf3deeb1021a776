"""The JSON Schemas of schemas/ describe what the program makes: no more, no less."""

import json
from dataclasses import asdict, fields
from datetime import UTC, datetime

import jsonschema
import numpy as np
import pytest

from babbitt.model.contracts import read_text
from babbitt.model.engine_spec import EngineSpec, parse_spec
from babbitt.model.event import CERTAIN, VERDICTS, Event, event_id_of
from babbitt.model.exposure import KindSums, WindowSums
from babbitt.model.kinds import KINDS
from babbitt.model.run import GOOD, MISSING, SCHEMA_VERSION, Run, RunInfo, Signal, run_to_table
from babbitt.totals.totals import KindTotals, Totals, make_totals

EVENT = Event(
    event_id=event_id_of("r0", "over_rev", 12.3),
    run_id="r0",
    engine_id="E1",
    kind="over_rev",
    start_s=12.1,
    end_s=12.6,
    duration_s=0.5,
    peak=8012.0,
    peak_s=12.3,
    peak_unit="1/min",
    dose=71.5,
    dose_unit="weighted rev",
    cause="on_power",
    side=None,
    direction=None,
    ended_by="release",
    confidence=CERTAIN,
    review=None,
    spec_version="0123456789ab",
)
SPEC_TOML = """
[engine]
type = "short-stroke four"
cylinders = 4
bore_mm = 86.0
stroke_mm = 86.0
rod_length_mm = 138.5
idle_rpm = 1100
[over_rev]
redline_rpm = 7600
mechanical_rpm = 8300
[oil_temperature]
limit_c = 135.0
[coolant_temperature]
limit_c = 108.0
[boost]
limit_kpa = 180.0
[life]
over_rev = 900.0
"""
NAMES = ["engine-spec", "event", "run", "totals"]


def schema(name):
    return json.loads(read_text(f"{name}.schema.json"))


def check(name, instance):
    jsonschema.Draft202012Validator(schema(name)).validate(instance)


def some_totals():
    spec = parse_spec(SPEC_TOML, source="invented.toml")
    seen = KindSums(watched_s=300.0, count=1, duration_s=0.5, dose=71.5, stale=0)
    unseen = KindSums(watched_s=0.0, count=0, duration_s=0.0, dose=0.0, stale=0)
    at = datetime(2025, 5, 3, tzinfo=UTC)
    kinds = dict.fromkeys(KINDS, unseen) | {"over_rev": seen}
    sums = WindowSums(1, 0, 300.0, 0.0, 30_000.0, 1, 0.5, 0, kinds, at, at)
    return make_totals(sums, spec, "E1", None)


def a_run():
    info = RunInfo(
        run_id="r0",
        engine_id="E1",
        started_at=datetime(2025, 5, 3, tzinfo=UTC),
        start_basis="log",
        source_name="a.csv",
        source_sha256="0" * 64,
        dialect=("comma, decimal point",),
        conversions=(),
        warnings=("Boost is missing for 3.0 s (5% of the run).",),
        max_gap_s=0.5,
    )
    values = np.array([3000.0, np.nan], np.float32)
    flags = np.array([GOOD, MISSING], np.uint8)
    signal = Signal(values, flags, "1/min", 10.0, "Engine Speed [rpm]")
    return Run(info, np.array([0.0, 0.1]), {"rpm": signal, "My Own": signal})


def arrow_schema_as_json(table):
    def text(metadata):
        return {key.decode(): value.decode() for key, value in (metadata or {}).items()}

    fields_ = [
        {
            "name": field.name,
            "type": str(field.type),
            "nullable": field.nullable,
            "metadata": text(field.metadata),
        }
        for field in table.schema
    ]
    metadata = text(table.schema.metadata)
    return {"fields": fields_, "metadata": {"babbitt": json.loads(metadata["babbitt"])}}


@pytest.mark.parametrize("name", NAMES)
def test_schemas_are_schemas(name):
    jsonschema.Draft202012Validator.check_schema(schema(name))


def as_json(event: Event) -> dict[str, object]:
    """An event as the command line prints it."""
    return json.loads(json.dumps(asdict(event)))


def test_an_event_fits():
    check("event", as_json(EVENT))
    check("event", as_json(EVENT) | {"at": "2025-05-03T09:30:12.100000+00:00"})


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "over_revs"},
        {"review": "wrong"},
        {"confidence": "low"},
        {"dose": -1.0},
        {"peak": None},
        {"more": 1},
    ],
)
def test_what_is_no_event_does_not_fit(wrong):
    with pytest.raises(jsonschema.ValidationError):
        check("event", as_json(EVENT) | wrong)


def test_the_event_schema_has_the_fields_of_events_and_the_time_they_happened():
    found = schema("event")
    assert found["required"] == [field.name for field in fields(Event)]
    assert set(found["properties"]) == {*found["required"], "at"}
    assert found["properties"]["kind"]["enum"] == list(KINDS)
    assert set(found["properties"]["peak_unit"]["enum"]) == {kind.unit for kind in KINDS.values()}
    assert set(found["properties"]["dose_unit"]["enum"]) == {
        kind.dose_unit for kind in KINDS.values()
    }
    assert found["properties"]["review"]["enum"] == [*VERDICTS, None]


def test_totals_fit():
    check("totals", some_totals().to_json())


@pytest.mark.parametrize("key", ["since", "revolutions", "events"])
def test_totals_without_a_key_do_not_fit(key):
    found = some_totals().to_json()
    del found[key]
    with pytest.raises(jsonschema.ValidationError):
        check("totals", found)


def test_the_totals_schema_has_the_fields_of_totals():
    found = schema("totals")
    kind = found["$defs"]["kind"]
    assert found["required"] == [field.name for field in fields(Totals)]
    assert list(found["properties"]) == found["required"]
    assert found["properties"]["events"]["required"] == list(KINDS)
    assert list(found["properties"]["events"]["properties"]) == list(KINDS)
    assert kind["required"] == [field.name for field in fields(KindTotals) if field.name != "kind"]
    assert list(kind["properties"]) == kind["required"]
    assert set(kind["properties"]["dose_unit"]["enum"]) == {
        kind.dose_unit for kind in KINDS.values()
    }


def test_a_run_fits():
    check("run", arrow_schema_as_json(run_to_table(a_run())))


def test_a_run_whose_flags_are_no_flags_does_not_fit():
    found = arrow_schema_as_json(run_to_table(a_run()))
    found["fields"][2]["type"] = "int64"
    with pytest.raises(jsonschema.ValidationError):
        check("run", found)


def test_the_run_schema_has_the_metadata_of_runs():
    info = schema("run")["$defs"]["info"]
    assert info["required"] == ["schema_version", *RunInfo.__dataclass_fields__]
    assert list(info["properties"]) == info["required"]
    assert info["properties"]["schema_version"]["const"] == SCHEMA_VERSION


def test_the_engine_spec_schema_is_that_of_the_model():
    """To make it anew, write EngineSpec.model_json_schema() behind the line of $schema."""
    found = schema("engine-spec")
    assert found.pop("$schema") == "https://json-schema.org/draft/2020-12/schema"
    assert found == EngineSpec.model_json_schema()


def test_an_engine_spec_fits():
    spec = parse_spec(SPEC_TOML, source="invented.toml")
    check("engine-spec", spec.model_dump(mode="json"))
