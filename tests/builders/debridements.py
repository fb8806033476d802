"""Small registries of necrosectomies: say what was used in each session and what came out, get a Registry."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from builders.courses import EVERYTHING
from necrostats.registry.codebook import TABLES
from necrostats.registry.tables import Registry, registry_from


@dataclass(kw_only=True)
class Session:
    """One necrosectomy. `uses`: classes in order, or a dict from class to what was recorded of it."""

    patient: str
    day: int
    uses: list[str] | dict[str, dict] = field(default_factory=lambda: ["snare"])
    low: float | None = 100.0
    high: float | None = None
    unit: str | None = "ml"
    words: str | None = None
    texture: str | None = "soft"
    exact: bool = True
    about: dict = field(default_factory=dict)


def registry_of(
    *sessions: Session,
    volume: float | None = 500.0,
    solid: float | None = 40.0,
    everything: bool = True,
    **collection,
) -> Registry:
    """The registry in which these sessions, each patient's drainage on day 0, and nothing else happened.

    Of a unit that records everything; else only what the sessions hold.
    """
    patients = list(dict.fromkeys(each.patient for each in sessions)) or ["P1"]
    tables = {
        "patients": {
            "patient_id": patients,
            "index_period": "2025Q1",
            "observed_days": 400,
            "last_contact_day": 300,
            "vital_status": "alive",
        },
        "collections": {
            "collection_id": [f"{each}C" for each in patients],
            "patient_id": patients,
            "is_index": True,
            "volume_ml": volume,
            "solid_percent": solid,
            **collection,
        },
    }
    rows, uses = [], []
    for place, each in enumerate(sessions):
        name = f"S{place}"
        numbered = each.low is not None
        rows.append(
            {
                "session_id": name,
                "patient_id": each.patient,
                "collection_id": f"{each.patient}C",
                "day": each.day,
                "period": "2025Q1",
                "session_type": "necrosectomy",
                "texture": each.texture,
                "yield_low": each.low,
                "yield_high": each.low if each.exact and each.high is None else each.high,
                "yield_unit": each.unit if numbered else None,
                "yield_words": each.words,
                "events_checked": True,
                **each.about,
            }
        )
        recorded = each.uses if isinstance(each.uses, dict) else {tool: {} for tool in each.uses}
        uses += [
            {"session_id": name, "instrument_class": tool, "use_order": order, **more}
            for order, (tool, more) in enumerate(recorded.items(), start=1)
        ]
    tables["sessions"] = rows
    tables["instrument_uses"] = uses
    held = {name: pd.DataFrame(tables.get(name, [])) for name in TABLES if everything or len(tables.get(name, []))}
    return registry_from(held, **({"recorded": EVERYTHING} if everything else {}))


def series(
    patients: int = 24,
    *,
    ratio: float = 2.0,
    per_session: float = 0.7,
    sessions: int = 3,
    seed: int = 3,
    tools: tuple[str, str] = ("snare", "powered_debrider"),
    digits: int | None = None,
) -> list[Session]:
    """Log-normal yields of two classes taken in turn, the second with `ratio` times the yield of the first."""
    rng = np.random.default_rng(seed)
    made = []
    for patient in range(patients):
        level = rng.normal(0, 0.3)
        for number in range(sessions):
            tool = (patient + number) % 2
            mean = np.log(200) + level + number * np.log(per_session) + tool * np.log(ratio)
            amount = float(np.exp(mean + rng.normal(0, 0.3)))
            texture = ("soft", "adherent", "liquid")[(patient // 2 + number) % 3]
            made.append(
                Session(
                    patient=f"P{patient}",
                    day=10 * (number + 1),
                    uses=[tools[tool]],
                    low=amount if digits is None else round(amount, digits),
                    texture=texture,
                )
            )
    return made
