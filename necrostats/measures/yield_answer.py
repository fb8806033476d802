"""The answer to a buyer's question, put together from what was computed: no figure of its own."""

from __future__ import annotations

from necrostats.results import Answer, Specifications, Statements, YieldComparison


def yield_answer(compared: YieldComparison, rules: Specifications, plan: Statements) -> Answer:
    """The contrast named in advance, whether it holds under every rule, and whether these data can tell.

    `compared` from compare_yield, `rules` from attribution_sensitivity, `plan` from precision_plan, on one registry.
    """
    primary = compared.frame[compared.frame["primary"]].reset_index(drop=True)
    pair = (compared.chosen, compared.reference)
    title = f"Which removes more: {pair[0]} or {pair[1]}?".replace("_", " ") if all(pair) else "Which removes more?"
    return Answer(
        title=title,
        frame=primary,
        cells=compared.cells,
        amounts=compared.amounts,
        reference=compared.reference,
        chosen=compared.chosen,
        verdict=rules.verdict,
        said=plan.said,
        population=compared.population,
        method=compared.method,
        notes=compared.notes,
    )
