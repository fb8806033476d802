"""Three verbs that present any result: chart, tabulate, describe."""
