"""What "resolved" means: a definition is data, passed in and carried out again on the result."""

from __future__ import annotations

from dataclasses import dataclass

from necrostats.errors import unknown_choice

PERCUTANEOUS_DRAIN_ROLES = ("failure", "adjunct")


@dataclass(frozen=True, kw_only=True)
class ResolutionDefinition:
    """When a patient counts as resolved.

    `reference` is where it is printed, and `provenance` whether that was read or comes from memory.
    `size_mm` is the longest axis at which a collection counts as gone; `symptom_free` asks for a symptom-free
    review within `review_within_days` of the scan; `percutaneous_drain` is "failure" (a competing end) or
    "adjunct"; `horizon_days` is the last day of the count.
    """

    name: str
    reference: str = ""
    provenance: str = ""
    size_mm: float = 30.0
    symptom_free: bool = True
    review_within_days: int = 30
    percutaneous_drain: str = "failure"
    horizon_days: int = 180

    def __post_init__(self) -> None:
        if self.percutaneous_drain not in PERCUTANEOUS_DRAIN_ROLES:
            raise unknown_choice("role of a percutaneous drain", self.percutaneous_drain, PERCUTANEOUS_DRAIN_ROLES)

    @property
    def causes(self) -> tuple[str, ...]:
        """The ends that compete, in the order in which they are coded from 1; the first is resolution."""
        drain = ("percutaneous drain",) if self.percutaneous_drain == "failure" else ()
        return ("resolved", "death", "surgery", *drain)

    def sentence(self) -> str:
        """The definition in words, for a methods paragraph."""
        review = (
            f" and symptom-free at a review within {self.review_within_days} days of it" if self.symptom_free else ""
        )
        before = "no percutaneous drain and no surgery" if self.percutaneous_drain == "failure" else "no surgery"
        return (
            f"Resolved ({self.name}): longest axis of every known collection at most {self.size_mm:g} mm on a scan"
            f"{review}, with {before} before it, within {self.horizon_days} days of the index drainage."
        )


DOCUMENTED_RESOLUTION = ResolutionDefinition(
    name="documented resolution, 30 mm",
    provenance="common practice, no source; the thresholds in print vary",
)
