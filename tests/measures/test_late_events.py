"""What was recorded since a lock of quarters whose review is already written."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from builders.earlier import days_before, locked, plain_tables, renumbered, without
from necrostats import late_events, read_registry, table, words
from necrostats.errors import ChoiceError, DesignError
from necrostats.registry.tables import registry_from
from necrostats.results import Unanswered

SYNTHETIC = Path(__file__).parents[2] / "synthetic_registry" / "tidy"


@pytest.fixture(scope="module")
def registry():
    return read_registry(SYNTHETIC)


@pytest.fixture
def then(registry):
    return plain_tables(registry)


def events_of(registry, quarter):
    return registry.during(quarter).adverse_events["event_id"].astype(str).tolist()


def test_the_last_quarters_late_events_stand_under_its_name(registry, tmp_path):
    """A lock of 92 days before, in which the events of the last quarter's last weeks were not yet recorded."""
    late = events_of(registry, "2026Q2")[:2]
    result = late_events(registry, locked(without(days_before(registry, 92), "adverse_events", *late), tmp_path / "l"))
    assert sorted(result.frame["record"]) == sorted(late) and set(result.frame["quarter"]) == {"2026Q2"}
    assert result.said == ("2026Q2: 2 adverse events recorded since the lock.",)
    assert result.population.left_out == {"adverse events and deaths of other quarters": 1}
    row = result.frame.iloc[0]
    session = registry.sessions.set_index("session_id").loc[row["session"]]
    assert session["period"] == "2026Q2" and row["day"] - session["day"] == row["days_after"]
    assert words(result) and len(table(result).frame) == 2


def test_it_is_said_whether_an_event_happened_before_the_lock_or_since(registry, then, tmp_path):
    """An event 12 days after a session, with a lock 5 days after it: the same quarter, another report."""
    own = registry.during("2026Q2")
    event = own.adverse_events[own.adverse_events["phase"] == "after"].iloc[0]
    who, day = event["patient_id"], int(event["day"])
    before = without(then, "adverse_events", event["event_id"])
    patient = before["patients"]["patient_id"] == who
    for observed, happened in ((day - 1, "since the lock"), (day, "before the lock")):
        before["patients"].loc[patient, ["observed_days", "last_contact_day"]] = observed
        result = late_events(registry, locked(before, tmp_path / happened))
        assert result.frame["happened"].tolist() == [happened] and result.frame["patient"].tolist() == [who]


def test_a_death_heard_of_later_belongs_to_the_quarter_of_the_index_drainage(registry, then, tmp_path):
    dead = then["patients"].index[then["patients"]["vital_status"] == "dead"][0]
    who, quarter, day = then["patients"].loc[dead, ["patient_id", "index_period", "death_day"]]
    then["patients"].loc[dead, "vital_status"] = "alive"
    then["patients"].loc[dead, ["death_day", "death_cause"]] = pd.NA
    result = late_events(registry, locked(then, tmp_path / "lock"))
    (row,) = result.frame.to_dict("records")
    assert (row["what"], row["quarter"], row["patient"], row["day"]) == ("death", quarter, who, day)
    assert result.said == (f"{quarter}: 1 death recorded since the lock.",)


def test_a_patient_who_was_added_late_brings_the_death_and_the_events(registry, then, tmp_path):
    dead = then["patients"].loc[then["patients"]["vital_status"] == "dead", "patient_id"].iloc[0]
    before = {
        name: frame[frame["patient_id"] != dead].reset_index(drop=True) if "patient_id" in frame else frame
        for name, frame in then.items()
    }
    uses = before["instrument_uses"]
    before["instrument_uses"] = uses[uses["session_id"].isin(before["sessions"]["session_id"])].reset_index(drop=True)
    result = late_events(registry, locked(before, tmp_path / "lock"))
    own = (registry.adverse_events["patient_id"] == dead).sum()
    assert result.frame["what"].tolist().count("death") == 1 and len(result.frame) == own + 1
    assert set(result.frame["patient"]) == {dead} and set(result.frame["happened"]) == {"since the lock"}


def test_an_event_without_a_session_belongs_to_the_quarter_of_the_drainage(registry, then, tmp_path):
    first = then["sessions"].iloc[0]
    alone = (
        then["adverse_events"]
        .iloc[[0]]
        .assign(event_id="E9000", patient_id=first["patient_id"], session_id=pd.NA, stent_id=pd.NA, day=-3)
    )
    today = registry_from({**then, "adverse_events": pd.concat([then["adverse_events"], alone], ignore_index=True)})
    (row,) = late_events(today, locked(then, tmp_path / "lock")).frame.to_dict("records")
    assert (row["quarter"], row["session"], row["days_after"]) == ("2026Q3", "", -3)


def test_a_period_keeps_the_events_of_some_quarters(registry, then, tmp_path):
    late = [events_of(registry, quarter)[0] for quarter in ("2025Q4", "2026Q2")]
    lock = locked(without(then, "adverse_events", *late), tmp_path / "lock")
    assert set(late_events(registry, lock).frame["record"]) == set(late)
    assert late_events(registry, lock, period="2025Q3..2026Q1").frame["record"].tolist() == late[:1]


def test_ids_numbered_anew_are_no_late_events(registry, then, tmp_path):
    result = late_events(registry, locked(renumbered(then, 5), tmp_path / "lock"))
    assert result.frame.empty
    assert result.said == ("No adverse event or death recorded since the lock belongs to a quarter up to 2026Q3.",)


@pytest.mark.parametrize("period", ["", "2026Q2"])
def test_without_a_lock_it_is_said_in_one_sentence_that_it_cannot_be_told(registry, period):
    result = late_events(registry, period=period)
    assert isinstance(result, Unanswered)
    assert "can be told only against a lock" in words(result)


def test_a_misspelt_period_and_a_narrowed_registry_are_refused(registry, then, tmp_path):
    with pytest.raises(ChoiceError, match="Write 2026Q2"):
        late_events(registry, period="Q2 2026")
    with pytest.raises(DesignError, match="narrowed to 2026Q2"):
        late_events(registry.during("2026Q2"), locked(then, tmp_path / "lock"))
