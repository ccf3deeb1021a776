"""How far an event can be relied on is a value: a level and reasons with names."""

from __future__ import annotations

import json

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"

LOW = "low: "
CODES = {
    "expected pressure not learned yet": "pressure_not_learned",
    "no oil temperature": "no_oil_temperature",
    "no lateral acceleration": "no_lateral_g",
    "the sensor may have been unplugged": "perhaps_unplugged",
    "the log does not show how engine speed rose": "rise_not_logged",
    "neither boost nor throttle tells it from driven": "lift_not_logged",
}
"""Reasons as the first edition wrote them; those it made of names of channels stay as written."""


def upgrade() -> None:
    """Read what was written as a sentence, this once."""
    connection = op.get_bind()
    event = sa.table("event", sa.column("confidence"))
    texts = connection.scalars(sa.select(event.c.confidence).distinct()).all()
    for text in texts:
        here = event.c.confidence == text
        connection.execute(sa.update(event).where(here).values(confidence=_as_json(text)))


def _as_json(text: str) -> str:
    reasons = [] if text == "high" else text.removeprefix(LOW).split("; ")
    told = [
        {"code": CODES[reason], "channels": [], "said": ""}
        if reason in CODES
        else {"code": "as_written", "channels": [], "said": reason}
        for reason in reasons
    ]
    found = {"level": "low" if reasons else "high", "reasons": told}
    return json.dumps(found, ensure_ascii=False)
