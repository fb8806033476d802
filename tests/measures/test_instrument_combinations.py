from builders.debridements import Session, registry_of
from necrostats import lead, table
from necrostats.measures import instrument_combinations


def test_classes_used_together_are_counted_whatever_their_order():
    sessions = [
        Session(patient="P1", day=3, uses=["net", "snare"]),
        Session(patient="P2", day=3, uses=["snare", "net", "lavage"]),
        Session(patient="P1", day=9, uses=["snare"]),
        Session(patient="P1", day=12, uses=[]),
    ]
    result = instrument_combinations(registry_of(*sessions))
    assert instrument_combinations(registry_of(*sessions), fewest=2).frame.iloc[0].tolist() == [
        "snare + net",
        2,
        2,
        2,
        0,
    ]
    assert result.frame["classes_used"].tolist() == [
        "no class recorded",
        "snare",
        "1 further combination, each in fewer than 3",
    ]
    assert int(result.frame["necrosectomies"].sum()) == 4
    assert str(lead(result)) == "2 of 4 necrosectomies (50 %) were shared by several classes."


def test_without_necrosectomies_there_is_an_empty_table():
    result = instrument_combinations(registry_of())
    assert result.frame.empty and str(lead(result)) == "There are no necrosectomies." and table(result).caption
