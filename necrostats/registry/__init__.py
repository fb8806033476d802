"""From a unit's export to tidy tables."""
