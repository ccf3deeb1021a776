"""The events of a run as a plain pandas script finds them: mask, shift, cumsum, groupby.

It works sample by sample: no crossings between samples, no release level, no gaps in the log.
"""

from __future__ import annotations

import pandas as pd
from scipy.interpolate import RegularGridInterpolator

from babbitt.detect.pressure import PressureSurface
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.run import Run, run_to_table


def frame_of(run: Run) -> pd.DataFrame:
    """The run as a frame indexed by time."""
    frame = run_to_table(run).to_pandas()
    return frame.set_index(pd.to_timedelta(frame.pop("time_s"), unit="s"))


def find_events(log: pd.DataFrame, spec: EngineSpec, surface: PressureSurface) -> pd.DataFrame:
    """One row an event: kind, start, end, duration, peak, dose."""
    dt_s = log.index.to_series().diff().dt.total_seconds().fillna(0.0)
    rpm = log["rpm"]
    usable = {name: log[f"{name}_flag"] < 4 for name in log.columns if f"{name}_flag" in log}

    redline = spec.over_rev.redline_rpm
    weight = rpm / 60 * (rpm / redline) ** (2 * spec.over_rev.fatigue_exponent)
    over_rev = _spans(rpm, (rpm > redline) & usable["rpm"], weight * dt_s, 0.5, 0.05)

    coolant, limit_c = log["coolant_temperature"], spec.coolant_temperature.limit_c
    hot = (coolant > limit_c) & usable["coolant_temperature"]
    coolant_overheat = _spans(coolant, hot, (coolant - limit_c) * dt_s, 2.0, 2.0)

    oil, limit_c = log["oil_temperature"], spec.oil_temperature.limit_c
    hot = (oil > limit_c) & usable["oil_temperature"]
    oil_overheat = _spans(oil, hot, (oil - limit_c) * dt_s, 2.0, 2.0)

    boost, limit_kpa = log["boost"], spec.boost.limit_kpa
    high = (boost > limit_kpa) & usable["boost"]
    overboost = _spans(boost, high, (boost - limit_kpa) * dt_s, 0.5, 0.2)

    pressure = log["oil_pressure"]
    table = RegularGridInterpolator((surface.rpm, surface.oil_c), surface.kpa, bounds_error=False)
    expected = pd.Series(table(log[["rpm", "oil_temperature"]].to_numpy()), log.index)
    cornering = (log["lateral_g"].abs() > spec.cornering.lateral_g) & usable["lateral_g"]
    lookback = pd.Timedelta(seconds=spec.cornering.lookback_s)
    lately = cornering.astype("float32").rolling(lookback).max() > 0
    starved = lately & (rpm > spec.oil_pressure.floor_above_rpm) & usable["rpm"]
    starved &= (pressure < spec.oil_pressure.starved_fraction * expected) & usable["oil_pressure"]
    lost = rpm / 60 * (1 - pressure / expected)
    oil_starvation = _spans(-pressure, starved, lost * dt_s, 0.5, 0.2)

    return pd.concat(
        {
            "over_rev": over_rev,
            "coolant_overheat": coolant_overheat,
            "oil_overheat": oil_overheat,
            "overboost": overboost,
            "oil_starvation": oil_starvation,
        },
        names=["kind"],
    ).reset_index(level="kind")


def _spans(
    value: pd.Series, beyond: pd.Series, dose: pd.Series, merge_gap_s: float, min_s: float
) -> pd.DataFrame:
    island = (beyond != beyond.shift()).cumsum()
    seconds = value.index.to_series().dt.total_seconds()
    samples = pd.DataFrame({"s": seconds, "value": value, "dose": dose, "island": island})[beyond]
    spans = samples.groupby("island").agg(
        start=("s", "min"), end=("s", "max"), peak=("value", "max"), dose=("dose", "sum")
    )
    event = (spans["start"] - spans["end"].shift() >= merge_gap_s).cumsum()
    events = spans.groupby(event).agg(
        start=("start", "min"), end=("end", "max"), peak=("peak", "max"), dose=("dose", "sum")
    )
    return events[events["end"] - events["start"] >= min_s]
