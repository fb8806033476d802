"""One template run on one registry, kept as one HTML file."""
