"""Build sheets: what a refresh did with each part, what was measured, and the build before."""

import pytest

from babbitt.errors import RegisterError
from babbitt.model.finding import Measurement
from babbitt.model.part_records import BuiltMeasurement, SheetLine
from babbitt.register.queries.as_built import as_built
from babbitt.register.records import builds, engines, fitments, parts, sheets
from register_records import BUILT, MAY, add_engine, days, read, write


def clearance(value, position="1", unit="mm"):
    return BuiltMeasurement(
        Measurement("clearance", value, unit, 0.045, 0.065), "rod_bearing", position
    )


def refresh(register, at=MAY, **sheet):
    return write(register, builds.add_refresh, "E-1", at, **sheet)


def test_a_sheet_comes_back_as_it_was_written(with_engine):
    lines = [
        SheetLine("ring", "1", "replaced", note="gapped 0.42"),
        SheetLine("crankshaft", None, "reworked"),
        SheetLine("rod_bearing", None, "reused"),
    ]
    torque = BuiltMeasurement(Measurement("head stud torque", 110.0, "N·m"))
    refreshed = refresh(with_engine, lines=lines, measurements=[clearance(0.05), torque])
    kept = read(with_engine, sheets.lines_of, "E-1")
    assert [each.line for each in kept] == lines
    measured = read(with_engine, sheets.measurements_of, "E-1")
    assert [each.built for each in measured] == [clearance(0.05), torque]
    assert {each.refresh_id for each in (*kept, *measured)} == {refreshed.refresh_id}


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (SheetLine("rings", "1", "replaced"), "no part 'rings' .did you mean 'ring'"),
        (SheetLine("ring", "5", "replaced"), "An engine of 4 cylinders has no cylinder 5"),
        (SheetLine("ring", "1", "mended"), "'mended' is no action: choose replaced, reworked"),
        (SheetLine("ring", "1", "replaced", "RB-1"), "RB-1 is a rod_bearing, not a ring"),
        (SheetLine("ring", "1", "replaced", "X"), "There is no part 'X'"),
        (SheetLine("rod", "1", "reused"), "There is the line on the connecting rod 1 .* already"),
    ],
)
def test_a_line_that_cannot_be_is_refused_with_its_refresh(with_engine, line, message):
    write(with_engine, parts.add_part, "RB-1", "rod_bearing")
    with pytest.raises(RegisterError, match=message):
        refresh(with_engine, lines=[SheetLine("rod", "1", "replaced"), line])
    assert read(with_engine, builds.refreshes_of, "E-1") == ()


def test_a_measurement_twice_on_one_sheet_is_refused(with_engine):
    with pytest.raises(RegisterError, match=r"the clearance of the rod bearing 1 .* already"):
        refresh(with_engine, measurements=[clearance(0.05), clearance(0.06)])


def test_a_line_that_names_a_part_fits_it_in_place_of_the_old(with_engine):
    for part_id in ("RB-1", "RB-2"):
        write(with_engine, parts.add_part, part_id, "rod_bearing")
    write(with_engine, fitments.fit_part, "RB-1", "E-1", at=BUILT, position="1")
    refresh(with_engine, lines=[SheetLine("rod_bearing", "1", "replaced", "RB-2")])
    spans = [(f.part_id, f.since, f.until) for f in read(with_engine, fitments.list_fitments)]
    assert spans == [("RB-1", BUILT, MAY), ("RB-2", MAY, None)]


@pytest.mark.parametrize("position", ["1", None], ids=["a single one", "a set"])
def test_a_line_that_names_a_part_which_is_there_changes_no_fitment(with_engine, position):
    write(with_engine, parts.add_part, "RB-1", "rod_bearing")
    write(with_engine, fitments.fit_part, "RB-1", "E-1", at=BUILT, position=position)
    before = read(with_engine, fitments.list_fitments)
    refresh(with_engine, lines=[SheetLine("rod_bearing", "1", "reused", "RB-1")])
    assert read(with_engine, fitments.list_fitments) == before


def test_the_first_build_has_a_sheet_too(with_engine):
    write(with_engine, parts.add_part, "RB-1", "rod_bearing")
    line = SheetLine("rod_bearing", "1", "replaced", "RB-1")
    sheet = {"lines": [line], "measurements": [clearance(0.05)]}
    write(with_engine, builds.add_to_sheet, "E-1", None, **sheet)
    assert read(with_engine, fitments.list_fitments)[0].since == BUILT
    assert [each.refresh_id for each in read(with_engine, sheets.lines_of, "E-1")] == [None]


def test_a_part_of_a_first_build_of_unknown_date_cannot_be_fitted_then(with_engine):
    write(with_engine, engines.set_built, "E-1", None)
    write(with_engine, parts.add_part, "RB-1", "rod_bearing")
    line = SheetLine("rod_bearing", "1", "replaced", "RB-1")
    with pytest.raises(RegisterError, match="not known when engine E-1 was built, so RB-1"):
        write(with_engine, builds.add_to_sheet, "E-1", None, lines=[line])


def test_a_sheet_is_of_its_own_engine(with_engine):
    add_engine(with_engine, "E-2")
    refreshed = refresh(with_engine)
    with pytest.raises(RegisterError, match=f"The refresh {refreshed.refresh_id} is of engine E-1"):
        write(with_engine, builds.add_to_sheet, "E-2", refreshed.refresh_id)


def test_lines_and_measurements_are_corrected_and_withdrawn(with_engine):
    refresh(with_engine, lines=[SheetLine("rod", "1", "reused")], measurements=[clearance(0.05)])
    (line,) = read(with_engine, sheets.lines_of, "E-1")
    changed = SheetLine("rod", "2", "replaced", note="was 1")
    kept = write(with_engine, sheets.amend_line, line.line_id, changed, seen=line.version)
    assert (kept.line, kept.version) == (changed, line.version + 1)
    (measured,) = read(with_engine, sheets.measurements_of, "E-1")
    amended = write(
        with_engine, sheets.amend_measurement, measured.measurement_id, clearance(0.051)
    )
    assert amended.built == clearance(0.051)
    write(with_engine, sheets.withdraw_line, line.line_id)
    write(with_engine, sheets.withdraw_measurement, measured.measurement_id)
    assert read(with_engine, sheets.lines_of) == read(with_engine, sheets.measurements_of) == ()


def test_a_moved_refresh_takes_along_what_was_fitted_and_removed_then(with_engine):
    for part_id in ("RB-1", "RB-2", "RB-3"):
        write(with_engine, parts.add_part, part_id, "rod_bearing")
    write(with_engine, fitments.fit_part, "RB-1", "E-1", at=BUILT, position="1")
    write(with_engine, fitments.fit_part, "RB-3", "E-1", at=BUILT, position="3")
    refreshed = refresh(with_engine, lines=[SheetLine("rod_bearing", "1", "replaced", "RB-2")])
    later = MAY + days(2)
    write(with_engine, builds.amend_refresh, refreshed.refresh_id, at=later)
    spans = [(f.part_id, f.since, f.until) for f in read(with_engine, fitments.list_fitments)]
    assert spans == [("RB-1", BUILT, later), ("RB-3", BUILT, None), ("RB-2", later, None)]


def test_a_withdrawn_refresh_takes_its_sheet_along(with_engine):
    refreshed = refresh(
        with_engine, lines=[SheetLine("rod", "1", "reused")], measurements=[clearance(0.05)]
    )
    write(with_engine, builds.withdraw_refresh, refreshed.refresh_id)
    assert read(with_engine, sheets.lines_of) == read(with_engine, sheets.measurements_of) == ()
    assert len(read(with_engine, builds.builds_of, "E-1")) == 1
    assert read(with_engine, as_built, "E-1") == ()


def test_a_build_is_compared_with_the_newest_that_has_the_same_measurement(with_engine):
    write(with_engine, builds.add_to_sheet, "E-1", None, measurements=[clearance(0.05, "2")])
    refresh(with_engine, MAY, measurements=[clearance(0.06, "1"), clearance(0.05, "3")])
    refresh(with_engine, MAY + days(9), measurements=[clearance(0.07, "1"), clearance(0.04, "2")])
    one, two, gone = read(with_engine, as_built, "E-1")
    assert (one.part, one.position, one.name) == ("rod_bearing", "1", "clearance")
    assert (one.now.value, one.before.value, one.before_number) == (0.07, 0.06, 2)
    assert one.change == pytest.approx(0.01)
    assert one.now.within_tolerance is False
    assert (two.now.value, two.before.value, two.before_number) == (0.04, 0.05, 1)
    assert (gone.position, gone.now, gone.before_number, gone.change) == ("3", None, 2, None)


def test_a_change_of_unit_is_no_change_of_value(with_engine):
    refresh(with_engine, MAY, measurements=[clearance(0.05)])
    refresh(with_engine, MAY + days(9), measurements=[clearance(0.002, unit="in")])
    (found,) = read(with_engine, as_built, "E-1")
    assert (found.now.unit, found.before.unit, found.change) == ("in", "mm", None)


def test_an_earlier_build_is_compared_with_those_before_it(with_engine):
    refresh(with_engine, MAY, measurements=[clearance(0.05)])
    refresh(with_engine, MAY + days(9), measurements=[clearance(0.06)])
    (found,) = read(with_engine, as_built, "E-1", number=2)
    assert (found.now.value, found.before, found.before_number) == (0.05, None, None)
    with pytest.raises(RegisterError, match="The engine E-1 has builds 1 to 3, no 4"):
        read(with_engine, as_built, "E-1", number=4)
