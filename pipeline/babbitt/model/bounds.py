"""Numbers as people write them, within what an engine or a shop can be; common practice, no source.

They leave room for any engine there is: what lies beyond is a slip of the pen, or meant to do harm.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

Rpm = Annotated[float, Field(gt=0.0, le=50_000.0)]
Millimetres = Annotated[float, Field(gt=0.0, le=2_000.0)]
Kilopascals = Annotated[float, Field(gt=0.0, le=10_000.0)]
Celsius = Annotated[float, Field(ge=-60.0, le=1_500.0)]
Seconds = Annotated[float, Field(ge=0.0, le=3_600.0)]
Acceleration = Annotated[float, Field(gt=0.0, le=20.0)]
"""Of a car, in g."""

Exponent = Annotated[float, Field(gt=0.0, le=30.0)]
"""Of a law of fatigue or wear."""

MOST_TOTAL = 1e12
Total = Annotated[float, Field(gt=0.0, le=MOST_TOTAL)]
"""A dose, hours, revolutions or money."""

Figure = Annotated[float, Field(ge=-1e9, le=1e9)]
"""Measured, in a unit of the one who measured."""
