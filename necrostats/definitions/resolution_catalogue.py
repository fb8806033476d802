"""Variants of "resolved" that are in use, so that a unit can recompute its own figure under each of them.

`reference` is given only where the paper is known to state that threshold, or that role of the drain; `provenance`
says whether its abstract was read. What a paper leaves open (review, days) is filled in with the default. Check the
paper before quoting it.
"""

from __future__ import annotations

from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition

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
