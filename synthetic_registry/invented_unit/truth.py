"""The true values behind the invented registry, by simulating the unit at length without stopping follow-up."""

from __future__ import annotations

from invented_unit.calendar import calendar_of
from invented_unit.parameters import Parameters
from invented_unit.true_debridement import debridement_truth, new_debridement_sums
from invented_unit.true_events import event_truth, new_event_sums
from invented_unit.true_resolution import new_resolution_sums, resolution_truth
from invented_unit.unit import live, record, seeds_for

PATIENTS = 2_000_000
SEED = 20_230_101
ABOUT = "Invented: no real patient, no real hospital. The true values behind synthetic_registry."
HOW = {
    "simulated": (
        f"mean over {PATIENTS:,} patients drawn by the generator (seed {SEED}); `error` is the Monte Carlo standard "
        "error, patients being the unit"
    ),
    "closed form": "follows from the parameters by a formula or quadrature; no Monte Carlo error",
    "full follow-up": "nobody censored: the data lock and losses to follow-up taken away",
    "as recorded": "with the data lock, losses and sessions after which nobody looked, as in the registry",
}


def true_values(parameters: Parameters, *, patients: int = PATIENTS, seed: int = SEED) -> dict[str, object]:
    """Everything truth.json holds."""
    calendar = calendar_of(parameters)
    resolution, events, debridement = new_resolution_sums(), new_event_sums(), new_debridement_sums()
    for size, child in seeds_for(patients, seed):
        lives = live(size, child, parameters, calendar)
        recorded = record(lives)
        resolution.add(lives)
        events.add(lives, recorded, calendar.labels.index(parameters.bleeding_raised_period))
        debridement.add(recorded, size)
    return {
        "about": ABOUT,
        "how": HOW,
        "patients_simulated": patients,
        "resolution": resolution_truth(resolution),
        "adverse_events": event_truth(events, parameters),
        "debridement": debridement_truth(debridement, parameters),
        "parameters": parameters.as_json(),
    }
