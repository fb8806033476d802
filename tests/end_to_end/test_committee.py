"""The page for a committee is attacked: what can a reader work out from what is printed?

Registries are drawn at random, the page is read as printed, and the hidden counts are looked for by elimination, with
all sums that a reader knows. `python -m end_to_end.test_committee` in tests/ attacks 300 registries at both thresholds.
"""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats import case_mix, committee_figures, quarter_verdicts, table, words
from necrostats.measures import activity, adverse_event_rates
from necrostats.present.suppressed import HIDDEN

PRIME = 2**31 - 1
QUARTERS = ("2024Q1", "2024Q2", "2024Q3")
LAST = QUARTERS[-1]
pytestmark = pytest.mark.usefixtures("counted_once")


@cache
def drawn(seed):
    """A unit of 3 to 90 patients in three quarters, with harsh parameters."""
    rng = np.random.default_rng(seed)
    return registry_of(*[_course(rng) for _ in range(rng.integers(3, 90))])


def _course(rng):
    days = sorted(rng.choice(range(1, 60), rng.integers(0, 5), replace=False).tolist())
    resolved, died = rng.random() < 0.7, rng.random() < 0.15
    kinds = ["bleeding", "perforation", "infection", "stent_migration"]
    events = [(day + 1, str(rng.choice(kinds))) for day in days if rng.random() < 0.2]
    return Course(
        period=str(rng.choice(QUARTERS)),
        necrosectomies=days,
        unchecked=[day for day in [0, *days] if rng.random() < 0.1],
        yields={day: (100, 100) for day in days if rng.random() < 0.8},
        events=[] if died else events,
        scans=[(0, 100), (70, 10 if resolved else 60)] if not died else [(0, 100)],
        well_on=[70] if not died else [],
        died_on=62 if died else None,
        surgery_on=61 if rng.random() < 0.05 else None,
        last_contact=200,
        about={
            "sex": rng.choice(["female", "male"]),
            "infection": rng.choice(["confirmed", "suspected", "none", None]),
            "onset_day": int(rng.choice([-20, -40])),
        },
    )


def printed(registry, threshold):
    """Every row of the page: name, level, and the two counts as printed (None where hidden)."""
    frame = committee_figures(registry, period=LAST, threshold=threshold).frame
    number = [
        tuple(None if np.isnan(x) else int(x) for x in pair) for pair in zip(frame["events"], frame["n"], strict=True)
    ]
    return list(zip(frame["section"], frame["what"], frame["level"], number, strict=True))


def truth(registry):
    """The counts behind the page, from the measures for the unit: (section, what, level) → k, n."""
    begun, held = registry.indexed_in(LAST), registry.during(LAST)
    found = {}
    for section, result in (("Case mix", case_mix(begun)), ("Sessions", activity(held))):
        for row in result.frame[result.frame["measure"] == "share"].itertuples():
            total = int(row.n + row.missing)
            found[section, str(row.variable), str(row.level)] = (int(row.events), total)
            found[section, str(row.variable), "not recorded"] = (int(row.missing), total)
    for row in quarter_verdicts(registry, period=LAST).judged().itertuples():
        found["Indicators of the period", str(row.variable), str(row.group)] = (row.events, row.n)
        name = "Indicators in the baseline", str(row.variable), f"before {row.group}"
        found[name] = (row.baseline_events, row.baseline_n)
    for row in adverse_event_rates(held, units=("patients",)).frame.itertuples():
        found["Adverse events of the period", str(row.variable), "patients"] = (int(row.events), int(row.n))
    return found


class Attack:
    """Linear equations over the counts of a page, eliminated modulo a prime."""

    def __init__(self, rows, values):
        self.place = {}
        for section, what, level, _ in rows:
            for side in ("k", "n"):
                self.place.setdefault((section, what, level, side), len(self.place))
        self.size, self.base = len(self.place), []
        for section, what, level, numbers in rows:
            for side, number in zip("kn", numbers, strict=True):
                if number is not None:
                    self.learn({(section, what, level, side): 1})
        self._sums(rows)
        self._same(values)

    def vector(self, terms):
        row = [0] * self.size
        for name, weight in terms.items():
            row[self.place[name]] += weight
        return row

    def reduced(self, row):
        for lead, known in self.base:
            if row[lead]:
                factor = row[lead]
                row = [(x - factor * y) % PRIME for x, y in zip(row, known, strict=True)]
        return row

    def learn(self, terms):
        row = self.reduced([x % PRIME for x in self.vector(terms)])
        lead = next((place for place, x in enumerate(row) if x), None)
        if lead is not None:
            inverse = pow(row[lead], -1, PRIME)
            self.base.append((lead, [x * inverse % PRIME for x in row]))

    def knows(self, terms):
        return not any(self.reduced([x % PRIME for x in self.vector(terms)]))

    def _sums(self, rows):
        """Levels add up to their total, which is one number for all of them."""
        for section in ("Case mix", "Sessions", "How courses had ended"):
            for what in {row[1] for row in rows if row[0] == section}:
                levels = [row[:3] for row in rows if row[:2] == (section, what)]
                self.learn({**{(*level, "k"): 1 for level in levels}, (*levels[0], "n"): -1})
                for other in levels[1:]:
                    self.learn({(*levels[0], "n"): 1, (*other, "n"): -1})
        mixes = [name for name in self.place if name[0] == "Case mix" and name[3] == "n"]
        for other in mixes[1:]:
            self.learn({mixes[0]: 1, other: -1})

    def _same(self, values):
        """A reader who takes every two denominators, or a count and a denominator, of the same size for the same."""
        of = {}
        for name in self.place:
            if name[:3] in values:
                of.setdefault(
                    (name[0] == "Indicators in the baseline", values[name[:3]]["kn".index(name[3])]), []
                ).append(name)
        for names in of.values():
            denominators = [name for name in names if name[3] == "n"]
            for other in denominators[1:]:
                if _unit(denominators[0]) == _unit(other):
                    self.learn({denominators[0]: 1, other: -1})
        self._necrosectomies(values)

    def _necrosectomies(self, values):
        kinds = [("Sessions", "session type", kind, "k") for kind in ("necrosectomy", "drainage_and_necrosectomy")]
        known = [name for name in kinds if name in self.place]
        yields = ("Indicators of the period", "Yield recorded with its unit", LAST, "n")
        if known and yields in self.place:
            self.learn({**dict.fromkeys(known, 1), yields: -1})


def _unit(name):
    return (
        "sessions" if re.search("ession|adverse|leed|erforation|arbon|looked", f"{name[0]} {name[1]}") else "patients"
    )


def given_away(seed, threshold):
    """What of the small counts, and small rests, of a drawn unit can be worked out from its page."""
    registry = drawn(seed)
    if LAST not in registry.periods:
        return []
    rows, values = printed(registry, threshold), truth(registry)
    attack, found = Attack(rows, values), []
    for section, what, level, _ in rows:
        name = section, what, level
        k, n = values.get(name, (0, 0))
        if 0 < k < threshold and attack.knows({(*name, "k"): 1}):
            found.append((name, "count", k))
        if 0 < n - k < threshold and attack.knows({(*name, "n"): 1, (*name, "k"): -1}):
            found.append((name, "rest", n - k))
    return found


@pytest.mark.parametrize("threshold", [5, 11])
@pytest.mark.parametrize("seed", [*range(3), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(3, 12))])
def test_no_small_count_can_be_worked_out_from_the_page(seed, threshold):
    assert given_away(seed, threshold) == []


def test_the_attack_finds_what_a_careless_page_gives_away():
    """Without hiding a second level, 3 of 30 is 30 − 20 − 7: the attack must see that."""
    rows = [("Case mix", "sex", level, (k, 30)) for level, k in (("a", 20), ("b", 7), ("c", None))]
    attack = Attack(rows, {})
    assert attack.knows({("Case mix", "sex", "c", "k"): 1})
    rows[1] = ("Case mix", "sex", "b", (None, 30))
    assert not Attack(rows, {}).knows({("Case mix", "sex", "c", "k"): 1})


@pytest.mark.parametrize("threshold", [5, 11])
def test_no_small_number_is_printed_in_table_or_sentence(threshold):
    result = committee_figures(drawn(3), period=LAST, threshold=threshold)
    cells = table(result).frame["k / n"].str.split(" / ").explode()
    counts = [int(cell.replace(",", "")) for cell in cells if cell != HIDDEN]
    assert counts and not [count for count in counts if 0 < count < threshold]
    shares = table(result).frame
    hidden = shares["k / n"].str.contains(HIDDEN)
    assert (shares.loc[hidden].iloc[:, 3] == HIDDEN).all()
    assert f"below {threshold}" in table(result).caption and "certifies nothing" in words(result)


if __name__ == "__main__":
    leaks = {(seed, fewest): found for seed in range(300) for fewest in (5, 11) if (found := given_away(seed, fewest))}
    print(f"300 registries, two thresholds: {len(leaks)} pages give something away", dict(list(leaks.items())[:5]))
