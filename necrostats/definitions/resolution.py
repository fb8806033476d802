"""What "resolved" means: a definition is data, passed in and carried out again on the result.

Variants of "resolved" that are in use, so that a unit can recompute its own figure under each of them.

`reference` is given only where the paper is known to state that threshold, or that role of the drain; `provenance`
says whether its abstract was read. What a paper leaves open (review, days) is filled in with the default. Check the
paper before quoting it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from numbers import Real

from necrostats.errors import ChoiceError, quoted, unknown_choice

PERCUTANEOUS_DRAIN_ROLES = ("failure", "adjunct")


@dataclass(frozen=True, kw_only=True)
class ResolutionDefinition:
    """When a patient counts as resolved.

    `reference` is where it is printed, and `provenance` whether that was read or comes from memory.
    `size_mm` is the longest axis at which a collection counts as gone (None: no size in millimetres is asked);
    `share_of_baseline` is the same as a share of its size at baseline (0.5: half; None: not asked). Both are "at
    most", or with `strictly_below` "below". `symptom_free` asks for a symptom-free review within
    `review_within_days` of the scan; `percutaneous_drain` is "failure" (a competing end) or "adjunct";
    `horizon_days` is the last day of the count. ChoiceError for a definition that no collection, or every one, meets.
    """

    name: str
    reference: str = ""
    provenance: str = ""
    size_mm: float | None = 30.0
    share_of_baseline: float | None = None
    strictly_below: bool = False
    symptom_free: bool = True
    review_within_days: int = 30
    percutaneous_drain: str = "failure"
    horizon_days: int = 180

    def __post_init__(self) -> None:
        for name in ("size_mm", "share_of_baseline", "review_within_days", "horizon_days"):
            self._check_number(name)
        if self.percutaneous_drain not in PERCUTANEOUS_DRAIN_ROLES:
            raise unknown_choice("role of a percutaneous drain", self.percutaneous_drain, PERCUTANEOUS_DRAIN_ROLES)
        if self.size_mm is None and self.share_of_baseline is None:
            raise ChoiceError(f'"{self.name}" asks for no size: give size_mm, share_of_baseline or both.')
        if self.size_mm is not None and not 0 <= self.size_mm < 1000:
            raise ChoiceError(f"size_mm is {self.size_mm:g}: a longest axis in millimetres, 0 or more, is needed.")
        if self.share_of_baseline is not None and not 0 < self.share_of_baseline <= 1:
            raise ChoiceError(f"share_of_baseline is {self.share_of_baseline:g}: give a share above 0 and at most 1.")
        if self.horizon_days < 1:
            raise ChoiceError(f"horizon_days is {self.horizon_days}: at least 1 day is needed.")

    def _check_number(self, name: str) -> None:
        """ChoiceError for a text, or for a part of a day."""
        value = getattr(self, name)
        days = name.endswith("_days")
        if value is None and not days:
            return
        if isinstance(value, bool) or not isinstance(value, Real) or (days and value != value // 1):
            raise ChoiceError(
                f"{name} is {value!r}: give {'whole days' if days else 'a number'}, without quotation marks."
            )

    @property
    def causes(self) -> tuple[str, ...]:
        """The ends that compete, in the order in which they are coded from 1; the first is resolution."""
        drain = ("percutaneous drain",) if self.percutaneous_drain == "failure" else ()
        return ("resolved", "death", "surgery", *drain)

    @property
    def size(self) -> str:
        """The size that counts as gone, in words: "at most 30 mm", "below 50 % of its size at baseline"."""
        than = "below" if self.strictly_below else "at most"
        asked = [f"{than} {self.size_mm:g} mm"] if self.size_mm is not None else []
        if self.share_of_baseline is not None:
            asked.append(f"{than} {self.share_of_baseline * 100:g} % of its size at baseline")
        return " and ".join(asked)

    def sentence(self) -> str:
        """The definition in words, for a methods paragraph."""
        within = f"within {self.review_within_days} days and not after further treatment"
        review = f" and free of symptoms at the review nearest to it, {within}" if self.symptom_free else ""
        before = "no percutaneous drain and no surgery" if self.percutaneous_drain == "failure" else "no surgery"
        return (
            f"Resolved ({self.name}): longest axis of every known collection {self.size} on a scan"
            f"{review}, with {before} before it, within {self.horizon_days} days of the index drainage."
        )


DOCUMENTED_RESOLUTION = ResolutionDefinition(
    name="documented resolution, 30 mm",
    provenance="common practice, no source; the thresholds in print vary",
)


UNNAMED = "in use, from memory; no paper is named for it"

TWENTY_MM = ResolutionDefinition(
    name="20 mm, symptom-free",
    reference="Walter D et al., Endoscopy 2015;47:63",
    provenance="threshold and symptoms from memory of the abstract; review and days as the default",
    size_mm=20.0,
)
TWENTY_MM_SCAN_ALONE = ResolutionDefinition(
    name="20 mm, scan alone", provenance=UNNAMED, size_mm=20.0, symptom_free=False
)
THIRTY_MM_SCAN_ALONE = ResolutionDefinition(name="30 mm, scan alone", provenance=UNNAMED, symptom_free=False)
HALF_OF_BASELINE = ResolutionDefinition(
    name="half of baseline, scan alone",
    reference="Shah RJ et al., Clin Gastroenterol Hepatol 2015;13:747",
    provenance="decrease by half or more from memory of the abstract; taken here as the longest axis",
    size_mm=None,
    share_of_baseline=0.5,
    symptom_free=False,
)
BELOW_HALF_AND_50_MM = ResolutionDefinition(
    name="below half of baseline and below 50 mm, symptom-free",
    reference="Endoscopy 2024;56:915, doi 10.1055/a-2332-3448",
    provenance="sizes and symptoms: the abstract was read, it looks at 4 weeks; review and days as the default",
    size_mm=50.0,
    share_of_baseline=0.5,
    strictly_below=True,
)
DRAIN_AS_ADJUNCT = ResolutionDefinition(
    name="30 mm, percutaneous drain as adjunct",
    reference="Ross AS et al., Gastrointest Endosc 2014;79:929",
    provenance="that the drain is part of the treatment (dual-modality drainage) from memory; size as the default",
    percutaneous_drain="adjunct",
)
ONE_YEAR = ResolutionDefinition(name="30 mm, within a year", provenance=UNNAMED, horizon_days=365)

RESOLUTION_CATALOGUE: tuple[ResolutionDefinition, ...] = (
    DOCUMENTED_RESOLUTION,
    TWENTY_MM,
    TWENTY_MM_SCAN_ALONE,
    THIRTY_MM_SCAN_ALONE,
    HALF_OF_BASELINE,
    BELOW_HALF_AND_50_MM,
    DRAIN_AS_ADJUNCT,
    ONE_YEAR,
)

FORM = re.compile(r"(?P<mm>\d+(?:\.\d+)?) ?mm(?:, (?P<scan>symptom-free|scan alone))?(?:, (?P<days>\d+) days)?")
"""A definition in millimetres and days: "25 mm", "25 mm, 120 days", "25 mm, scan alone, 120 days"."""


def definition_named(definition: ResolutionDefinition | str) -> ResolutionDefinition:
    """A definition as it is, by its name in the catalogue, or written in millimetres and days.

    "25 mm, 120 days" is at most 25 mm within 120 days, symptom-free unless it says "scan alone"; all else as in the
    default. ChoiceError for anything else, with the names.
    """
    if isinstance(definition, ResolutionDefinition):
        return definition
    catalogue = {each.name: each for each in RESOLUTION_CATALOGUE}
    if not isinstance(definition, str):
        raise ChoiceError(
            f"definition is {definition!r}: give a name of the catalogue, millimetres and days "
            f'("25 mm, 120 days"), or a ResolutionDefinition. Names: {quoted(catalogue)}.'
        )
    if definition in catalogue:
        return catalogue[definition]
    written = FORM.fullmatch(definition.strip())
    if not written:
        error = unknown_choice("definition of resolution", definition, catalogue)
        raise ChoiceError(f'{error} Or write millimetres and days: "25 mm, 120 days".')
    return ResolutionDefinition(
        name=definition.strip(),
        size_mm=float(written["mm"]),
        symptom_free=written["scan"] != "scan alone",
        horizon_days=int(written["days"] or DOCUMENTED_RESOLUTION.horizon_days),
    )
