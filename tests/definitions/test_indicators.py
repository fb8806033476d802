"""The targets a unit has set itself."""

from __future__ import annotations

import pytest

from builders.courses import Course, registry_of
from necrostats import table
from necrostats.definitions.indicators import Target, targets_from
from necrostats.errors import ChoiceError, SourceError
from necrostats.measures import quarter_verdicts


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(0.94, 1.0, "cannot be told yet"), (0.95, 1.0, "met"), (0.5, 0.95, "cannot be told yet"), (0.5, 0.94, "not met")],
)
def test_a_least_share_is_met_only_where_the_whole_interval_lies_above(low, high, said):
    assert Target(at_least=0.95).met(low, high) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(0.0, 0.06, "cannot be told yet"), (0.0, 0.05, "met"), (0.05, 0.2, "cannot be told yet"), (0.06, 0.2, "not met")],
)
def test_a_most_share_is_met_only_where_the_whole_interval_lies_below(low, high, said):
    assert Target(at_most=0.05).met(low, high) == said


def test_the_targets_of_a_unit_are_read_and_shown_beside_the_verdict(tmp_path):
    path = tmp_path / "targets.toml"
    path.write_text('"events looked for" = { at_least = 0.5 }\n"bleeding" = { at_most = 0.01 }\n', encoding="utf-8")
    registry = registry_of(*[Course(necrosectomies=[5]) for _ in range(20)])
    shown = table(quarter_verdicts(registry, targets=targets_from(path))).frame.set_index("Indicator")["Target"]
    assert shown["Adverse events looked for"] == "at least 50 %: met"
    assert shown["Bleeding"] == "at most 1 %: cannot be told yet"
    assert "Target" not in table(quarter_verdicts(registry)).frame


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [
        ('"bleding" = { at_most = 0.1 }', ChoiceError, "bleeding"),
        ('"bleeding" = 0.1', ChoiceError, "at_least"),
        ('"bleeding" = { at_most = 10 }', ChoiceError, "0 to 1"),
        ('"bleeding" = { at_most = 0.1, at_least = 0.2 }', ChoiceError, "one of them"),
        ('"bleeding over stent-days" = { at_most = 0.1 }', ChoiceError, "shares"),
        ("bleeding = ", SourceError, "TOML"),
    ],
)
def test_a_target_that_cannot_be_is_one_clear_error(tmp_path, text, error, words):
    path = tmp_path / "targets.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(error, match=words):
        targets_from(path)


def test_a_file_that_is_not_there_is_one_clear_error(tmp_path):
    with pytest.raises(SourceError, match="cannot be read"):
        targets_from(tmp_path / "none.toml")
