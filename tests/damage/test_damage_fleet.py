"""A fleet: its usual hours, and what its teardowns make of life doses."""

from __future__ import annotations

from dataclasses import replace

import pytest

from babbitt.damage.fleet import BuildSpan, Fleet, learn_modes
from babbitt.damage.gradual import Piece, PieceLook
from babbitt.damage.looks import Seen, SeenPiece
from babbitt.damage.model import Load, Observation
from babbitt.model.damage_modes import mode_named
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS
from made_lives import MAY, WIPED, a_ledger, day, taken

LIFE = LifeSection(**dict.fromkeys(KINDS, 100.0))
HOURS = dict.fromkeys(("rod_bearing", "valve_retainer"), 5.0)


def fleet(*builds: BuildSpan, seen: tuple[Seen, ...] = ()) -> Fleet:
    ledgers = {"E1": a_ledger(*({"running": 1.0} for _ in range(12)))}
    return Fleet(ledgers, seen, builds, {"E1": LIFE})


def a_look(hours: float, *, at=MAY, fitted_again=True, begun=("E1", None)) -> Seen:
    pieces = (SeenPiece(("1",), 0),)
    return Seen("E1", at, WIPED, ("1",), taken(running=hours), None, pieces, begun, fitted_again)


def test_usual_hours_are_the_median_of_the_builds_that_ended() -> None:
    builds = [BuildSpan("E1", day(a), day(b)) for a, b in ((0, 2), (2, 5), (5, 12))]
    assert fleet(*builds).build_h() == 3.0


def test_a_build_that_goes_on_counts_as_longer_than_it_is_so_far() -> None:
    ended = [BuildSpan("E1", day(a), day(b)) for a, b in ((0, 2), (2, 5))]
    assert fleet(*ended).build_h() == 2.0
    assert fleet(*ended, BuildSpan("E1", day(6), None)).build_h() == 3.0


def test_usual_hours_were_others_in_the_past() -> None:
    builds = [BuildSpan("E1", day(a), day(b)) for a, b in ((0, 2), (2, 9))]
    assert fleet(*builds).build_h(day(3)) == 2.0
    assert fleet(*builds).build_h(day(1)) is None, "no build had ended"


def test_no_usual_hours_before_a_build_has_ended() -> None:
    assert fleet(BuildSpan("E1", MAY, None)).build_h() is None
    assert fleet(BuildSpan("E1", MAY, None)).usual_h()["rod"] is None


def test_parts_that_are_fitted_again_last_longer_than_a_build() -> None:
    build = BuildSpan("E1", MAY, day(2))
    usual = fleet(build, seen=(a_look(6.0, begun=("E1", MAY)),)).usual_h()
    assert usual["rod_bearing"] == 6.0
    assert usual["rod"] == 2.0


def test_what_became_of_parts_is_not_known_while_they_are_looked_at() -> None:
    build = BuildSpan("E1", MAY, day(1))
    replaced = (
        a_look(3.0, at=day(2), fitted_again=False, begun=("E1", MAY)),
        a_look(9.0, at=day(5), fitted_again=False, begun=("E1", day(1))),
    )
    assert fleet(build, seen=replaced).usual_h()["rod_bearing"] == 3.0
    assert fleet(build, seen=replaced[:1]).usual_h(day(2))["rod_bearing"] == 3.0
    assert fleet(build, seen=replaced[1:]).usual_h(day(5))["rod_bearing"] == 9.0


def test_a_mode_without_a_life_dose_is_not_learned() -> None:
    life = LifeSection(over_rev=100.0)
    learned = learn_modes(life, {}, {}, usual_h=_every(5.0))
    assert WIPED not in learned
    assert mode_named("keeper", "worn") in learned


def test_modes_alike_are_believed_alike_until_something_else_is_found() -> None:
    main = mode_named("main_bearing", "wiped")
    before = learn_modes(LIFE, {}, {}, usual_h=_every(5.0))
    assert before[WIPED] is before[main]
    doses = {"oil_starvation": 90.0, "running": 4.0}
    look = Observation(Load(doses), damaged=True, grades=(3,))
    piece = Piece("E1", (PieceLook(doses, 3),))
    after = learn_modes(LIFE, {WIPED: [look]}, {WIPED: [piece]}, usual_h=_every(5.0))
    assert after[WIPED].observations == 1
    assert after[main].observations == 0


def test_teardowns_are_counted_once_however_many_looks_they_took() -> None:
    looks = (a_look(1.0), a_look(2.0), replace(a_look(1.0), at=day(3)))
    assert fleet(seen=looks).teardowns == 2


def _every(hours: float) -> dict[str, float]:
    from babbitt.model.damage_modes import parts

    return dict.fromkeys(parts(), hours)


@pytest.mark.parametrize("hours", [2.0, 9.0])
def test_running_time_is_believed_to_do_it_at_the_usual_hours(hours: float) -> None:
    face = mode_named("valve_retainer", "face_rubbed")
    learned = learn_modes(LIFE, {}, {}, usual_h=_every(hours))
    assert learned[face].causes == ("running",)
