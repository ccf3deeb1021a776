import pytest
from sqlalchemy import func, select

from babbitt.errors import RegisterError, SettingsError
from babbitt.model.engine_spec import parse_spec
from babbitt.register.journal.entries import journal
from babbitt.register.records import builds, corrections, engines
from babbitt.register.tables.models import EngineSpecRow
from register_records import BUILT, MAY, OTHER_SPEC, SPEC, add_engine, add_run, days


def test_an_engine_has_the_spec_it_was_added_with(with_engine):
    with with_engine.reading() as session:
        assert engines.spec_of(session, "E-1") == parse_spec(SPEC, source="")


@pytest.mark.parametrize("engine_id", ["a", "NB-01", "4G.63_b", "x" * 64])
def test_ids_that_can_be_folder_names_are_taken(register, engine_id):
    add_engine(register, engine_id)
    with register.reading() as session:
        assert [engine.engine_id for engine in engines.list_engines(session)] == [engine_id]


@pytest.mark.parametrize(
    "engine_id", ["", ".", "..", "a/b", "a\\b", "-a", "a.", "é", "a b", "x" * 65]
)
def test_ids_that_cannot_are_refused(register, engine_id):
    with pytest.raises(RegisterError, match="cannot be an engine's ID: use up to 64 letters"):
        add_engine(register, engine_id)


@pytest.mark.parametrize("engine_id", ["E-1", "e-1"])
def test_an_id_is_taken_in_any_case(with_engine, engine_id):
    with pytest.raises(RegisterError, match="There is an engine E-1 already"):
        add_engine(with_engine, engine_id)


def test_a_spec_that_cannot_be_used_adds_nothing(register):
    with pytest.raises(SettingsError, match="'over_rev' is missing"), register.writing() as session:
        engines.add_engine(session, "E-1", SPEC.replace("[over_rev]", "[overrev]"), source="a.toml")
    with register.reading() as session:
        assert engines.list_engines(session) == ()


def test_set_spec_puts_the_new_one_in_force_and_keeps_the_old(with_engine):
    with with_engine.writing() as session:
        engines.set_spec(session, "E-1", OTHER_SPEC)
    with with_engine.reading() as session:
        assert engines.spec_of(session, "E-1").over_rev.redline_rpm == 7400
        tomls = session.scalars(select(EngineSpecRow.toml).order_by(EngineSpecRow.id)).all()
        assert tomls == [SPEC, OTHER_SPEC]


def test_setting_the_spec_in_force_again_changes_nothing(with_engine):
    with with_engine.writing() as session:
        engines.set_spec(session, "E-1", SPEC)
    with with_engine.reading() as session:
        assert session.scalar(select(func.count()).select_from(EngineSpecRow)) == 1
        assert [entry.action for entry in journal(session)] == ["engine add"]


def test_an_unknown_engine_is_refused_with_the_nearest_name(with_engine):
    with (
        pytest.raises(RegisterError, match=r"no engine 'e1': did you mean E-1\?"),
        with_engine.reading() as session,
    ):
        engines.spec_of(session, "e1")


@pytest.mark.parametrize(("known", "hint"), [([], "add it first"), (["NB-01"], "look it up")])
def test_an_unknown_engine_with_no_near_name_says_where_to_look(register, known, hint):
    for engine_id in known:
        add_engine(register, engine_id)
    with pytest.raises(RegisterError, match=hint), register.reading() as session:
        engines.spec_of(session, "XYZ")


def test_list_engines_sums_up_each_in_one_query(with_engine, count_queries):
    add_engine(with_engine, "E-0", built_at=None)
    for n in range(3):
        add_run(with_engine, f"r{n}", at=MAY + days(n))
    with with_engine.writing() as session:
        corrections.remove_run(session, "r2")
        engines.set_spec(session, "E-1", OTHER_SPEC)
        builds.add_refresh(session, "E-1", MAY - days(20))
        builds.add_refresh(session, "E-1", MAY - days(10))
    with count_queries() as sent, with_engine.reading() as session:
        bare, used = engines.list_engines(session)
    assert len(sent) == 1
    assert (bare.engine_id, bare.built_at, bare.refreshes, bare.runs) == ("E-0", None, 0, 0)
    assert (bare.last_refresh, bare.last_run) == (None, None)
    assert (used.engine_id, used.built_at, used.refreshes, used.runs) == ("E-1", BUILT, 2, 2)
    assert (used.last_refresh, used.last_run) == (MAY - days(10), MAY + days(1))
    assert used.spec.over_rev.redline_rpm == 7400


def test_list_engines_of_an_empty_register_is_empty(register):
    with register.reading() as session:
        assert engines.list_engines(session) == ()
