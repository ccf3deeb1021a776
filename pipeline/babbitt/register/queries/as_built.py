"""The measurements of a build beside those of the builds before it."""

from __future__ import annotations

from sqlalchemy.orm import Session

from babbitt.errors import RegisterError
from babbitt.model.finding import Measurement
from babbitt.model.part_records import AsBuilt
from babbitt.register.records.builds import builds_of
from babbitt.register.records.sheets import measurements_of

_What = tuple[str | None, str | None, str]


def as_built(session: Session, engine_id: str, *, number: int | None = None) -> tuple[AsBuilt, ...]:
    """Return each measurement of a build beside the same one of an earlier build.

    The same one is of the same part, position and name, from the newest earlier build that has it.
    What the build before has and this one has not comes last.

    Args:
        session: of a transaction.
        engine_id: the engine.
        number: of the build; None: that of today.

    Raises:
        RegisterError: no such engine, or it has no such build.
    """
    builds = builds_of(session, engine_id)
    wanted = len(builds) if number is None else number
    if not 1 <= wanted <= len(builds):
        raise RegisterError(f"The engine {engine_id} has builds 1 to {len(builds)}, no {wanted}.")
    numbers = {build.refresh_id: build.number for build in builds}
    taken: dict[int, dict[_What, Measurement]] = {build.number: {} for build in builds}
    for each in measurements_of(session, engine_id):
        what = (each.built.part, each.built.position, each.built.measurement.name)
        taken[numbers[each.refresh_id]][what] = each.built.measurement
    now = taken[wanted]
    gone = [what for what in taken.get(wanted - 1, {}) if what not in now]
    return tuple(_beside(what, taken, wanted) for what in [*now, *gone])


def _beside(what: _What, taken: dict[int, dict[_What, Measurement]], number: int) -> AsBuilt:
    before = next((n for n in range(number - 1, 0, -1) if what in taken[n]), None)
    return AsBuilt(
        *what,
        now=taken[number].get(what),
        before=None if before is None else taken[before][what],
        before_number=before,
    )
