"""A preview says what speaks against the sensors before anything is stored."""

from __future__ import annotations

from pathlib import Path

from shop import run


def test_a_sensor_that_is_not_at_zero_with_the_engine_stopped_is_said(tmp_path: Path) -> None:
    lines = ["Time (s),RPM (1/min),Oil Press (kPa)"]
    for i in range(1200):
        rpm = 0 if i < 300 else 3000 + 20 * (i % 50)
        lines.append(f"{i / 10:.1f},{rpm},{(45 if rpm == 0 else 445) + i % 3}")
    log = tmp_path / "a.csv"
    log.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = run("preview", log, "--json", cwd=tmp_path).json
    assert any(
        "Oil pressure" in said and "--zero oil_pressure" in said for said in found["warnings"]
    )
    assert found["problems"] == []
    traces = {column["name"]: column["trace"] for column in found["columns"]}
    assert traces["rpm"][0] == 0.0
    assert "▁" in run("preview", log, cwd=tmp_path).out
    assert list(tmp_path.iterdir()) == [log]
