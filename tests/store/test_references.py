"""Reference values in the records: versions on top of one another, nothing overwritten, and the lead's window. All values are invented."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.store.scenario import NOON, later
from webcapture.errors import UsageError
from webcapture.reference.exchange import TABLES, shipped
from webcapture.reference.library import INVENTED, OWN_RUNS, Run, Value
from webcapture.reference.method import method_of
from webcapture.store import own_runs, references
from webcapture.store.own_runs import Place
from webcapture.store.shapes import method_dict, method_from, value_dict, value_from

WATER = method_of("water : ethanol 2 : 1", "filter paper", 21.5, "none")
RED = Value("Marl red", WATER, 0.31, INVENTED, "invented for a test", sd=0.02, n=3, colour="red", hex="#aa2222")
BLUE = Value("Tarn blue", WATER, 0.62, INVENTED, "invented for a test")


def told(database):
    with database.reading() as session:
        return {one.value.substance: (one.value.rf, one.version, one.retired) for one in references.kept(session)}


@pytest.fixture
def entry(database):
    """The red one's, beside the blue one."""
    with database.writing() as session:
        assert references.add(session, [RED, BLUE], NOON, "first") == 2
        return references.kept(session)[0].entry


def test_values_come_back_as_they_were(database, entry):
    with database.reading() as session:
        assert [one.value for one in references.kept(session)] == [RED, BLUE]
        one = references.entry(session, entry)
    assert (one.value, one.version, one.retired, one.note, one.made_at) == (RED, 1, False, "first", NOON)


def test_the_tables_that_come_with_the_tool_survive_as_json(database):
    values = [value for name in TABLES for value in shipped(name)]
    with database.writing() as session:
        references.add(session, values, NOON)
        assert [one.value for one in references.kept(session)] == values


@given(st.lists(st.fractions(min_value=0.001, max_value=1000), min_size=1, max_size=4))
def test_shares_of_a_mobile_phase_are_exact(shares):
    """Thirds and sevenths are not decimals: two methods that were the same must be so after reading."""
    text = " + ".join(f"{share * 10000 // 1} mL solvent{n}" for n, share in enumerate(shares) if share * 10000 >= 1)
    method = method_of(text or "water", "paper", None)
    assert method_from(method_dict(method)) == method
    assert value_from(value_dict(replace(RED, method=method))).method.conditions == method.conditions


def test_the_same_again_is_not_new(database, entry):
    with database.writing() as session:
        assert references.add(session, [RED], later(hours=1)) == 0
    assert told(database) == {"Marl red": (0.31, 1, False), "Tarn blue": (0.62, 1, False)}


def test_nothing_is_overwritten_and_nothing_half_taken(database, entry):
    other = Value("Fell yellow", WATER, 0.9, INVENTED, "invented for a test")
    with pytest.raises(UsageError, match="Marl red") as found, database.writing() as session:
        references.add(session, [other, replace(RED, rf=0.5)], later(hours=1))
    assert "nothing is overwritten" in found.value.hint
    assert told(database) == {"Marl red": (0.31, 1, False), "Tarn blue": (0.62, 1, False)}


def test_a_change_is_a_version_on_top(database, entry):
    with database.writing() as session:
        references.change(session, entry, 1, replace(RED, rf=0.33), later(hours=1), "read again")
    assert told(database)["Marl red"] == (0.33, 2, False)
    with database.reading() as session:
        history = references.history(session, entry)
    assert [(one.version, one.value.rf, one.note) for one in history] == [(1, 0.31, "first"), (2, 0.33, "read again")]


def test_of_two_at_the_same_time_the_second_is_told(database, entry):
    with database.writing() as session:
        references.change(session, entry, 1, replace(RED, rf=0.33), later(hours=1))
    for late in (
        lambda s: references.change(s, entry, 1, replace(RED, rf=0.4), later(hours=2)),
        lambda s: references.retire(s, entry, 1, later(hours=2)),
        lambda s: references.retire(s, "gone", 1, later(hours=2)),
    ):
        with pytest.raises(UsageError, match="meanwhile"), database.writing() as session:
            late(session)
    assert told(database)["Marl red"] == (0.33, 2, False)


def test_a_change_does_not_make_twins(database, entry):
    with pytest.raises(UsageError, match="Tarn blue"), database.writing() as session:
        references.change(session, entry, 1, replace(BLUE, rf=0.31), later(hours=1))


def test_what_is_retired_comes_back_only_by_restoring(database, entry):
    with database.writing() as session:
        references.retire(session, entry, 1, later(hours=1), "bottle was old")
    assert told(database)["Marl red"] == (0.31, 2, True)
    with pytest.raises(UsageError, match="retired"), database.writing() as session:
        references.add(session, [RED], later(hours=2))
    with database.writing() as session:
        references.restore(session, entry, 2, later(hours=3))
    assert told(database)["Marl red"] == (0.31, 3, False)


def test_a_retired_value_can_be_changed_and_stays_retired(database, entry):
    with database.writing() as session:
        references.retire(session, entry, 1, later(hours=1))
        assert references.change(session, entry, 2, replace(RED, rf=0.4), later(hours=2)).retired


def test_the_window_is_the_leads(database):
    with database.writing() as session:
        assert references.window(session) is None
        references.set_window(session, 0.035)
        references.set_window(session, 0.04)
    with database.writing() as session:
        assert references.window(session) == 0.04
        references.set_window(session, None)
        references.set_window(session, None)
    with database.reading() as session:
        assert references.window(session) is None


# --- accepted runs

RUN = Run("Marl red", WATER, 0.3123456789, "p1:0", "practical-1", "#aa2222")
PLACE = Place("p1", 0, 1, 1)


def counting(database):
    with database.reading() as session:
        return [(one.run.substance, one.run.rf) for one in own_runs.accepted_runs(session)]


def test_a_run_comes_back_as_it_was(database):
    with database.writing() as session:
        assert own_runs.accept(session, RUN, 0.012, PLACE, "Felt pens", NOON)
    with database.reading() as session:
        (one,) = own_runs.accepted_runs(session)
    assert (one.run, one.U_rf, one.place, one.practical_title) == (RUN, 0.012, PLACE, "Felt pens")
    assert (one.accepted_at, one.withdrawn_at) == (NOON, None)


def test_strips_of_one_bay_are_sheets_of_their_own(database):
    second = replace(PLACE, lane=2, strip=2)
    with database.writing() as session:
        for place in (PLACE, second):
            own_runs.accept(session, replace(RUN, sheet=place.sheet), 0.012, place, "Felt pens", NOON)
    with database.reading() as session:
        kept = own_runs.accepted_runs(session)
    assert [(one.place, one.run.sheet) for one in kept] == [(PLACE, "p1:0"), (second, "p1:0-2")]


def test_twice_is_once_and_another_reading_takes_the_place_of_the_first(database):
    corrected = replace(RUN, rf=0.32)
    with database.writing() as session:
        assert own_runs.accept(session, RUN, 0.012, PLACE, "Felt pens", NOON)
        assert not own_runs.accept(session, RUN, 0.012, PLACE, "Felt pens", later(hours=1))
        assert own_runs.accept(session, corrected, 0.02, replace(PLACE, spot=2), "Felt pens", later(hours=2))
        assert own_runs.accept(session, RUN, 0.012, replace(PLACE, lane=2), "Felt pens", later(hours=3))
    assert counting(database) == [("Marl red", 0.32), ("Marl red", RUN.rf)]
    with database.reading() as session:
        every = own_runs.accepted_runs(session, withdrawn=True)
    assert [one.withdrawn_at for one in every] == [later(hours=2), None, None]


def test_withdrawn_it_counts_no_more_and_can_be_accepted_anew(database):
    with database.writing() as session:
        own_runs.accept(session, RUN, None, PLACE, "Felt pens", NOON)
        number = own_runs.accepted_runs(session)[0].id
        assert own_runs.withdraw(session, number, later(hours=1))
        assert not own_runs.withdraw(session, number, later(hours=2))
        assert not own_runs.withdraw(session, number + 1, later(hours=2))
    assert counting(database) == []
    with database.writing() as session:
        assert own_runs.accept(session, RUN, None, PLACE, "Felt pens", later(hours=3))
    assert len(counting(database)) == 1


def test_every_change_shows_in_the_mark(database, entry):
    def mark():
        with database.reading() as session:
            return references.mark(session)

    seen = [mark()]
    for step in (
        lambda s: references.change(s, entry, 1, replace(RED, rf=0.33), NOON),
        lambda s: references.retire(s, entry, 2, NOON),
        lambda s: own_runs.accept(s, RUN, None, PLACE, "Felt pens", NOON),
        lambda s: own_runs.withdraw(s, own_runs.accepted_runs(s)[0].id, NOON),
        lambda s: references.add(s, [replace(RED, mark=OWN_RUNS)], NOON),
    ):
        with database.writing() as session:
            step(session)
        seen.append(mark())
    assert len(set(seen)) == len(seen)
