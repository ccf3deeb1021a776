"""The events of a run as SQL finds them: islands of samples beyond a limit, merged and summed.

Like the pandas script it works sample by sample: no crossings between samples, no release level, no
gaps in the log.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import duckdb

from babbitt.detect.pressure import PressureSurface
from babbitt.model.engine_spec import EngineSpec

_SPANS = """
SELECT '{kind}' AS kind, count(*) FROM (
  SELECT min(t) AS begins, max(t) AS ends, sum(dose) AS dose FROM (
    SELECT *, sum((t - before >= {merge} OR before IS NULL)::INT) OVER (ORDER BY t) AS event FROM (
      SELECT t, {dose} * dt AS dose, lag(t) OVER (ORDER BY t) AS before
      FROM log WHERE {beyond}
    )
  ) GROUP BY event
) WHERE ends - begins >= {least}
"""

_LOG = """
CREATE OR REPLACE TEMP TABLE log AS
SELECT time_s AS t, coalesce(time_s - lag(time_s) OVER (ORDER BY time_s), 0) AS dt, *,
  max((abs(lateral_g) > {lateral} AND lateral_g_flag < 4)::INT) OVER (
    ORDER BY time_s RANGE BETWEEN {lookback} PRECEDING AND CURRENT ROW
  ) AS lately
FROM '{path}'
"""

_EXPECTED = """
CREATE OR REPLACE TEMP TABLE log AS
SELECT *,
  (1 - u) * ((1 - v) * kpa[i * {columns} + j + 1] + v * kpa[i * {columns} + j + 2])
  + u * ((1 - v) * kpa[(i + 1) * {columns} + j + 1] + v * kpa[(i + 1) * {columns} + j + 2])
  AS expected
FROM (
  SELECT *, row - i AS u, col - j AS v FROM (
    SELECT *, least(floor(row), {rows} - 2)::INT AS i, least(floor(col), {columns} - 2)::INT AS j
    FROM (
      SELECT *,
        greatest(0, least((rpm - {rpm_0}) / {rpm_step}, {rows} - 1)) AS row,
        greatest(0, least((oil_temperature - {oil_0}) / {oil_step}, {columns} - 1)) AS col
      FROM log
    )
  )
), (SELECT {kpa}::DOUBLE[] AS kpa)
"""


def count_events(
    connection: duckdb.DuckDBPyConnection, path: Path, spec: EngineSpec, surface: PressureSurface
) -> Counter[str]:
    """Return how many events of each kind a run's file holds."""
    cornering, oil = spec.cornering, spec.oil_pressure
    connection.execute(
        _LOG.format(lateral=cornering.lateral_g, lookback=cornering.lookback_s, path=path)
    )
    rows, columns = surface.kpa.shape
    connection.execute(
        _EXPECTED.format(
            rows=rows,
            columns=columns,
            rpm_0=surface.rpm[0],
            rpm_step=surface.rpm[1] - surface.rpm[0],
            oil_0=surface.oil_c[0],
            oil_step=surface.oil_c[1] - surface.oil_c[0],
            kpa=surface.kpa.ravel().tolist(),
        )
    )
    redline, power = spec.over_rev.redline_rpm, 2 * spec.over_rev.fatigue_exponent
    coolant_c, oil_c = spec.coolant_temperature.limit_c, spec.oil_temperature.limit_c
    boost = spec.boost.limit_kpa
    starved = (
        f"lately = 1 AND rpm > {oil.floor_above_rpm} AND rpm_flag < 4 "
        f"AND oil_pressure < {oil.starved_fraction} * expected AND oil_pressure_flag < 4"
    )
    kinds = {
        "over_rev": (
            f"rpm > {redline} AND rpm_flag < 4",
            f"rpm / 60 * (rpm / {redline}) ** {power}",
            0.5,
            0.05,
        ),
        "coolant_overheat": (
            f"coolant_temperature > {coolant_c} AND coolant_temperature_flag < 4",
            f"(coolant_temperature - {coolant_c})",
            2.0,
            2.0,
        ),
        "oil_overheat": (
            f"oil_temperature > {oil_c} AND oil_temperature_flag < 4",
            f"(oil_temperature - {oil_c})",
            2.0,
            2.0,
        ),
        "overboost": (f"boost > {boost} AND boost_flag < 4", f"(boost - {boost})", 0.5, 0.2),
        "oil_starvation": (
            starved,
            "rpm / 60 * (1 - oil_pressure / expected)",
            0.5,
            0.2,
        ),
    }
    found: Counter[str] = Counter()
    for kind, (beyond, dose, merge, least) in kinds.items():
        query = _SPANS.format(kind=kind, beyond=beyond, dose=dose, merge=merge, least=least)
        found.update(dict(connection.execute(query).fetchall()))
    return found
