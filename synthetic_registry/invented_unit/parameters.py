"""Every number that makes the invented unit what it is. truth.json prints them from here."""

from __future__ import annotations

from dataclasses import dataclass, fields

Mix = tuple[tuple[str, float], ...]


@dataclass(frozen=True, kw_only=True)
class Parameters:
    """Times in days, volumes in ml, `_sd` on the log (or logit) scale; a Mix holds shares that add up to 1."""

    first_day: str = "2023-01-01"
    lock_day: str = "2026-09-30"
    loss_per_day: float = 0.0007
    loss_until_day: int = 365

    early_share_at_40_percent_solid: float = 0.24
    early_logit_per_10_percent_solid: float = -0.45
    early_median_days: float = 13.0
    late_median_days: float = 66.0
    resolution_sd: float = 0.36
    resolution_log_per_10_percent_solid: float = 0.04
    symptoms_last_longer_share: float = 0.10

    death_share: float = 0.075
    death_mean_day: float = 55.0
    death_background_per_day: float = 0.00004
    surgery_share: float = 0.07
    surgery_mean_day: float = 45.0
    drain_share: float = 0.10
    drain_mean_day: float = 35.0

    visit_gap_low: int = 11
    visit_gap_high: int = 25
    visit_missed_share: float = 0.08
    hold_gap_low: int = 31
    hold_gap_high: int = 36
    session_lag_high: int = 4
    follow_up_days: tuple[int, ...] = (60, 150, 320)
    recurrence_share: float = 0.05

    necrosectomy_on_day_0_share: float = 0.13
    second_collection_share: float = 0.18
    late_collection_share: float = 0.09

    main_stent: Mix = (("lumen_apposing", 0.62), ("double_pigtail", 0.31), ("self_expanding_metal", 0.07))
    overdue_share: float = 0.05
    stent_trouble: Mix = (
        ("exchanged", 0.78),
        ("migrated", 0.08),
        ("occluded", 0.09),
        ("buried", 0.025),
        ("bleeding", 0.025),
    )

    bleeding_debriding: float = 0.030
    bleeding_other_scope: float = 0.012
    bleeding_sd: float = 0.5
    bleeding_raised_period: str = "2025Q3"
    bleeding_odds_ratio: float = 5.0
    other_event_debriding: float = 0.050
    other_event_other_scope: float = 0.020
    other_event_types: Mix = (
        ("infection", 0.20),
        ("sepsis", 0.11),
        ("perforation", 0.09),
        ("pneumoperitoneum", 0.09),
        ("cardiorespiratory", 0.10),
        ("sedation", 0.09),
        ("aspiration", 0.07),
        ("pseudoaneurysm", 0.06),
        ("fistula", 0.06),
        ("obstruction", 0.05),
        ("gas_embolism", 0.02),
        ("other", 0.06),
    )
    maldeployment: float = 0.015
    peroxide_event: float = 0.020
    fatal_event_share_of_deaths: float = 0.15
    not_checked_share: float = 0.05

    yield_first_session_ml: float = 190.0
    yield_ratio_per_session: float = 0.7
    yield_patient_sd: float = 0.45
    yield_residual_sd: float = 0.45
    yield_by_texture: Mix = (("liquid", 1.15), ("soft", 1.0), ("adherent", 0.8), ("tough", 0.6))
    texture: Mix = (("liquid", 0.12), ("soft", 0.40), ("adherent", 0.33), ("tough", 0.15))
    late_class: str = "powered_debrider"
    late_class_from: str = "2025Q1"
    late_class_share: float = 0.30
    late_class_share_tough_or_later: float = 0.45
    late_class_yield_ratio: float = 1.6
    other_class_yield_ratio: float = 1.0
    classes: Mix = (
        ("snare", 0.36),
        ("net", 0.16),
        ("basket", 0.09),
        ("forceps", 0.12),
        ("cap_suction", 0.11),
        ("rotating_brush", 0.05),
        ("water_jet", 0.06),
        ("balloon_sweep", 0.05),
    )
    two_classes_share: float = 0.22
    three_classes_share: float = 0.07
    class_unknown_share: float = 0.006
    class_other_share: float = 0.010
    class_blank_share: float = 0.006
    no_yield_share_first: float = 0.02
    no_yield_step: float = 0.02
    yield_written: Mix = (
        ("exact", 0.58),
        ("about", 0.17),
        ("range", 0.13),
        ("word", 0.06),
        ("nothing", 0.06),
    )
    less_than_50_share: float = 0.35
    more_than_500_share: float = 0.40
    yield_unit: Mix = (("ml", 0.91), ("g", 0.06), ("percent_cleared", 0.03))

    blank_share: float = 0.03

    def as_json(self) -> dict[str, object]:
        """The parameters by name; a Mix as an object."""
        return {field.name: _plain(getattr(self, field.name)) for field in fields(self)}


def _plain(value: object) -> object:
    if isinstance(value, tuple):
        pairs = all(isinstance(each, tuple) for each in value)
        return dict(value) if pairs else list(value)
    return value
