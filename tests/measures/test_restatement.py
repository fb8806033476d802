"""What has become of the figures of earlier quarters since a lock, and why."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from builders.earlier import days_before, locked, plain_tables, renumbered, without
from necrostats import read_registry, restatement, table, words
from necrostats.definitions.indicators import BY_NAME
from necrostats.errors import ChoiceError, DesignError, NecrostatsError
from necrostats.measures import indicators as counting
from necrostats.measures.locking import definitions_today, figures_of
from necrostats.registry.tables import registry_from
from necrostats.results import Unanswered

SYNTHETIC = Path(__file__).parents[2] / "synthetic_registry" / "tidy"


@pytest.fixture(scope="module")
def registry():
    return read_registry(SYNTHETIC)


@pytest.fixture
def then(registry):
    return plain_tables(registry)


def changed(result, name, quarter):
    """The row of a figure, and its causes."""
    title = BY_NAME[name].title
    (row,) = result.frame[(result.frame["variable"] == title) & (result.frame["group"] == quarter)].to_dict("records")
    causes = result.changes[(result.changes["variable"] == title) & (result.changes["group"] == quarter)]
    return row, causes.to_dict("records")


def figure(row):
    return row["events_then"], row["n_then"], row["events"], row["n"]


def late_in(registry, quarter):
    """The adverse events of the sessions of a quarter that happened in the last 60 days before the data lock."""
    own = registry.during(quarter)
    lock = own.patients["observed_days"].to_numpy()[own.position("adverse_events")]
    late = (lock - own.adverse_events["day"].to_numpy()) < 60
    return own.adverse_events.loc[late, "event_id"].astype(str).tolist()


@pytest.mark.slow
def test_nothing_has_changed_since_a_lock_of_the_same_registry(registry, then, tmp_path):
    result = restatement(registry, locked(then, tmp_path / "lock"))
    assert result.frame.empty and result.changes.empty
    assert result.said == ("No figure of a quarter up to 2026Q3 has changed.",)
    assert len(result.figures) == len(registry.periods) * len(figures_of(registry))
    assert words(result) and table(result).frame.empty


@pytest.mark.slow
def test_a_quarter_later_every_changed_figure_is_explained_and_the_rest_is_what_it_was(registry, tmp_path):
    """The registry as it stood 92 days before, without three events that were recorded only after that lock."""
    earlier = days_before(registry, 92)
    late = registry.during("2025Q4").adverse_events["event_id"].astype(str).tolist()[:3]
    lock = locked(without(earlier, "adverse_events", *late), tmp_path / "lock")
    result = restatement(registry, lock)
    assert set(result.changes["reason"]) == {"added", "matured"}
    named = {each.split(" ")[-1] for each in result.changes["record"]}
    today, whole = plain_tables(registry), figures_of(registry)
    counts = {each for each in late if figures_of(registry_from(without(today, "adverse_events", each))) != whole}
    assert len(counts) == 2 and named & set(late) == counts
    explained = result.changes[["variable", "group"]].drop_duplicates()
    assert len(explained) == len(result.frame) > 5
    now = result.figures
    differ = (now["events_then"] != now["events"]) | (now["n_then"] != now["n"])
    assert int(differ.sum()) == len(result.frame)
    row, causes = changed(result, "deaths within 90 days", "2026Q2")
    assert figure(row) == (0, 0, 0, 12)
    assert {each["reason"] for each in causes} == {"matured"} and len(causes) == 12
    assert "of P0009, P0022, P0036, P0047, P0068, P0071 and 6 more lies before the data lock now" in row["why"]


@pytest.mark.slow
def test_figures_then_and_now_are_those_of_the_two_registries(registry, tmp_path):
    earlier = days_before(registry, 92)
    result = restatement(registry, locked(earlier, tmp_path / "lock"))
    before, now = figures_of(registry_from(earlier)), figures_of(registry)
    names = {each.title: name for name, each in BY_NAME.items()}
    for row in result.figures.to_dict("records"):
        name, quarter = names[row["variable"]], row["group"]
        assert figure(row) == (*before[name].get(quarter, (0, 0)), *now[name][quarter])
    assert set(result.figures["group"]) == {each for each in registry.periods if each <= "2026Q2"}


@pytest.mark.slow
def test_an_event_recorded_late_is_named_with_its_patient(registry, then, tmp_path):
    events = registry.adverse_events
    own = registry.during("2026Q2").adverse_events
    bled = own.loc[own["event_type"] == "bleeding", ["event_id", "patient_id"]].astype(str).iloc[0]
    result = restatement(registry, locked(without(then, "adverse_events", bled["event_id"]), tmp_path / "lock"))
    row, causes = changed(result, "bleeding", "2026Q2")
    assert figure(row) == (1, 38, 2, 38)
    assert row["why"] == f"added: adverse event {bled['event_id']} of {bled['patient_id']}"
    assert [(each["reason"], each["table"]) for each in causes] == [("added", "adverse_events")]
    assert f"Bleeding, 2026Q2: 2 of 38 now, 1 of 38 at the lock; {row['why']}." in result.said
    assert len(events) == len(then["adverse_events"])


@pytest.mark.slow
def test_a_correction_is_named_with_its_record_its_column_and_both_values(registry, then, tmp_path):
    session = then["sessions"].loc[then["sessions"]["period"] == "2026Q2", "session_id"].iloc[0]
    looked = then["sessions"]["session_id"] == session
    patient = then["sessions"].loc[looked, "patient_id"].iloc[0]
    then["sessions"].loc[looked, "events_checked"] = False
    result = restatement(registry, locked(then, tmp_path / "lock"))
    row, _ = changed(result, "events looked for", "2026Q2")
    assert figure(row) == (37, 38, 38, 38)
    assert row["why"] == f"corrected: events_checked of session {session} of {patient} from no to yes"


@pytest.mark.slow
def test_a_value_filled_in_is_added_and_one_blanked_is_corrected(registry, then, tmp_path):
    own = then["sessions"].index[(then["sessions"]["period"] == "2026Q2") & then["sessions"]["carbon_dioxide"].notna()]
    then["sessions"].loc[own[0], "carbon_dioxide"] = pd.NA
    result = restatement(registry, locked(then, tmp_path / "lock"))
    row, causes = changed(result, "carbon dioxide", "2026Q2")
    assert row["n"] - row["n_then"] == 1 and row["why"].startswith("added: carbon_dioxide yes of session ")
    assert causes[0]["was"] == ""
    today = plain_tables(registry)
    today["sessions"].loc[own[0], "carbon_dioxide"] = pd.NA
    back = restatement(registry_from(today), locked(plain_tables(registry), tmp_path / "other"))
    assert "from yes to blank" in changed(back, "carbon dioxide", "2026Q2")[0]["why"]


@pytest.mark.slow
def test_a_record_that_is_gone_is_removed(registry, then, tmp_path):
    own = registry.during("2026Q2").adverse_events
    bled = own.loc[own["event_type"] == "bleeding", "event_id"].astype(str).iloc[0]
    today = registry_from(without(then, "adverse_events", bled))
    row, _ = changed(restatement(today, locked(then, tmp_path / "lock")), "bleeding", "2026Q2")
    assert figure(row) == (2, 38, 1, 38) and row["why"].startswith(f"removed: adverse event {bled} of ")


@pytest.mark.slow
def test_of_several_causes_each_is_named_and_what_did_not_count_is_not(registry, then, tmp_path):
    """One patient's bleed and infection are new: only the bleed stands under bleeding."""
    own = registry.during("2025Q3").adverse_events
    bled = own[own["event_type"] == "bleeding"][["event_id", "patient_id"]].astype(str)
    moved = then["sessions"].index[(then["sessions"]["period"] == "2025Q3") & then["sessions"]["events_checked"]][0]
    before = without(then, "adverse_events", bled["event_id"].iloc[0])
    other = (
        then["adverse_events"]
        .iloc[[0]]
        .assign(event_id="E9000", patient_id=bled["patient_id"].iloc[0], event_type="infection", stent_id=pd.NA)
    )
    named = then["adverse_events"].set_index("event_id").loc[bled["event_id"].iloc[0]]
    other = other.assign(session_id=named["session_id"], day=named["day"])
    today = registry_from({**then, "adverse_events": pd.concat([then["adverse_events"], other], ignore_index=True)})
    before["sessions"].loc[moved, "period"] = "2025Q2"
    row, causes = changed(restatement(today, locked(before, tmp_path / "lock")), "bleeding", "2025Q3")
    assert figure(row) == (7, 37, 8, 38)
    assert {each["reason"] for each in causes} == {"added", "corrected"}
    assert [each["record"] for each in causes if each["reason"] == "added"] == [
        f"adverse event {bled['event_id'].iloc[0]}"
    ]


@pytest.mark.slow
def test_a_death_heard_of_later_is_added_and_not_a_correction(registry, then, tmp_path):
    dead = then["patients"].index[(then["patients"]["death_day"] <= 90).fillna(False)][0]
    who, quarter = then["patients"].loc[dead, ["patient_id", "index_period"]]
    then["patients"].loc[dead, "vital_status"] = "alive"
    then["patients"].loc[dead, ["death_day", "death_cause"]] = pd.NA
    row, causes = changed(restatement(registry, locked(then, tmp_path / "lock")), "deaths within 90 days", quarter)
    assert row["events"] - row["events_then"] == 1
    assert {each["reason"] for each in causes} == {"added"} and who in row["why"]


@pytest.mark.slow
def test_ids_that_reading_numbers_anew_change_nothing(registry, then, tmp_path):
    result = restatement(registry, locked(renumbered(then, 3), tmp_path / "lock"))
    assert result.frame.empty


@pytest.mark.slow
def test_with_ids_numbered_anew_a_late_event_is_still_the_only_change(registry, then, tmp_path):
    own = registry.during("2026Q2").adverse_events
    bled = own.loc[own["event_type"] == "bleeding", "event_id"].astype(str).iloc[0]
    lock = locked(renumbered(without(then, "adverse_events", bled), 3), tmp_path / "lock")
    result = restatement(registry, lock)
    assert set(result.changes["record"]) == {f"adverse event {bled}"}


@pytest.mark.slow
def test_a_definition_that_is_another_one_is_named_with_both_values(registry, then, tmp_path):
    definitions, figures = definitions_today(), figures_of(registry)
    definitions["resolution"]["size_mm"] = 20.0
    figures["resolved within 180 days"] = {**figures["resolved within 180 days"], "2025Q1": (8, 14)}
    lock = locked(then, tmp_path / "lock", definitions=definitions, figures=figures)
    row, _ = changed(restatement(registry, lock), "resolved within 180 days", "2025Q1")
    assert figure(row) == (8, 14, 12, 14)
    assert row["why"] == "definition changed: resolution: size_mm, 20.0 then and 30.0 now"


@pytest.mark.slow
def test_a_figure_that_only_another_version_counts_otherwise_says_so(registry, then, tmp_path):
    figures = figures_of(registry)
    figures["bleeding"] = {**figures["bleeding"], "2025Q1": (5, 55)}
    row, _ = changed(restatement(registry, locked(then, tmp_path / "lock", figures=figures)), "bleeding", "2025Q1")
    assert row["why"].startswith("definition changed: how necrostats counts, version ")


@pytest.mark.slow
def test_a_change_that_no_record_accounts_for_is_said_to_be_unexplained(registry, then, tmp_path, monkeypatch):
    """As if an indicator counted more in the whole registry than in its patients one by one."""
    lock = locked(without(then, "adverse_events", "E0003"), tmp_path / "lock")

    def crowd(given, indicator):
        size = len(given.periods)
        whole = len(given.adverse_events) == len(registry.adverse_events) and given.periods == registry.periods
        events = np.full(size, int(whole))
        return counting.Counted(events=events, n=np.ones(size, dtype=np.int64))

    monkeypatch.setitem(counting._COUNTS, "carbon dioxide", crowd)
    row, _ = changed(restatement(registry, lock), "carbon dioxide", "2025Q1")
    assert row["why"].endswith("no record accounts for it")


@pytest.mark.slow
def test_an_indicator_not_in_the_lock_or_not_recorded_any_more_is_a_note(registry, then, tmp_path):
    figures = {name: each for name, each in figures_of(registry).items() if name != "bleeding"}
    lock = locked(then, tmp_path / "lock", figures={**figures, "an old one": {"2025Q1": (1, 2)}})
    today = plain_tables(registry)
    today["sessions"]["carbon_dioxide"] = pd.NA
    said = " ".join(note.text for note in restatement(registry_from(today), lock).notes)
    assert "the lock has no figure of it: Bleeding." in said
    assert "not recorded any more: Carbon dioxide for insufflation." in said
    assert "no indicator any more: an old one." in said


def test_without_a_lock_the_question_is_unanswered_and_says_how_to_make_one(registry):
    result = restatement(registry)
    assert isinstance(result, Unanswered) and "necrostats lock SOURCE --to FOLDER" in words(result)


@pytest.mark.slow
def test_a_lock_of_another_registry_is_refused_in_one_line(registry, then, tmp_path):
    lock = locked(then, tmp_path / "lock")
    other = {
        name: frame.assign(patient_id="X" + frame["patient_id"]) if "patient_id" in frame else frame
        for name, frame in then.items()
    }
    with pytest.raises(ChoiceError, match="is the lock of another registry: they have no patient in common"):
        restatement(registry_from(other), lock)


@pytest.mark.slow
def test_a_lock_of_a_later_time_or_of_periods_of_another_kind_is_refused(registry, then, tmp_path):
    lock = locked(then, tmp_path / "lock")
    with pytest.raises(ChoiceError, match="was locked after this registry was"):
        restatement(registry_from(days_before(registry, 30)), lock)
    private = dict(zip(registry.periods, (f"P{place:02d}" for place in range(99)), strict=False))
    for name, column in (("patients", "index_period"), ("sessions", "period")):
        then[name][column] = then[name][column].map(private)
    with pytest.raises(ChoiceError, match="periods of two kinds"):
        restatement(registry_from(then), lock)


@pytest.mark.slow
def test_a_registry_narrowed_to_a_quarter_and_a_broken_lock_are_refused(registry, then, tmp_path):
    lock = locked(then, tmp_path / "lock")
    with pytest.raises(DesignError, match="narrowed to 2026Q2"):
        restatement(registry.during("2026Q2"), lock)
    (lock / "scans.csv").unlink()
    with pytest.raises(NecrostatsError, match=r"scans\.csv is missing"):
        restatement(registry, lock)


@pytest.mark.parametrize("patients", [1, 3])
def test_a_registry_of_few_patients_is_compared(registry, patients, tmp_path):
    few = registry.select(np.arange(len(registry.patients)) < patients)
    lock = locked(plain_tables(replace(few, source=registry.source)), tmp_path / "lock")
    assert restatement(few, lock).frame.empty


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.slow
def test_whatever_is_altered_at_random_nothing_stays_unexplained(registry, seed, tmp_path):
    """Records are taken out, values blanked or exchanged, and time passes, in a fifth of the registry."""
    rng = np.random.default_rng(seed)
    part = registry.select(rng.random(len(registry.patients)) < 1 / 5)
    before = days_before(part, int(rng.integers(1, 120)))
    for name, column in (("sessions", "events_checked"), ("stents", "removed_day"), ("sessions", "carbon_dioxide")):
        before[name].loc[rng.random(len(before[name])) < 0.1, column] = pd.NA
    for name in ("adverse_events", "scans", "reviews", "other_interventions"):
        before[name] = before[name][rng.random(len(before[name])) > 0.1].reset_index(drop=True)
    types = before["adverse_events"]["event_type"].to_numpy(copy=True)
    before["adverse_events"]["event_type"] = pd.Categorical(
        np.where(rng.random(types.size) < 0.2, "bleeding", types.astype(object)),
        categories=registry.adverse_events["event_type"].cat.categories,
    )
    result = restatement(part, locked(before, tmp_path / "lock"))
    assert len(result.frame) > 5 and "not explained" not in set(result.changes["reason"])
    assert len(result.changes[["variable", "group"]].drop_duplicates()) == len(result.frame)
