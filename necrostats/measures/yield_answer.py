"""The answer to a buyer's question, put together from what was computed: no figure of its own."""

from __future__ import annotations

from necrostats.results import Answer, Specifications, Statements, YieldComparison


def yield_answer(compared: YieldComparison, rules: Specifications, plan: Statements) -> Answer:
    """The contrast named in advance, whether it holds under every rule, and whether these data can tell.

    `compared` from compare_yield, `rules` from attribution_sensitivity, `plan` from precision_plan, on one registry.

    Counted: as the three results that it is given.
    Source: Satterthwaite, Biometrics Bull 1946;2:110 (degrees of freedom); Bell and McCaffrey, Survey Methodology
        2002;28:169 (errors clustered by patient in small samples); Mundlak, Econometrica 1978;46:69 (within-patient
        terms); VanderWeele and Ding, Ann Intern Med 2017;167:268 (E-value).
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
