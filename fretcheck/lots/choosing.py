"""Choose a lot's plan: from two stated risks, from a standard, or the user's own.

Conventions
-----------
Exactly one way may be chosen. By variables the stated risks are turned into fractions of the lot.
"""

from __future__ import annotations

from fretcheck.errors import UsageError
from fretcheck.lots.attribute_plans import Severity, attribute_plan
from fretcheck.lots.lot import PlanPart
from fretcheck.lots.risks import SamplingPlan, StatedRisks, plan_for_risks
from fretcheck.lots.variable_plans import VariablePlan, variable_plan, variable_plan_for_risks


def choose_plan(
    *,
    lot: int,
    risks: StatedRisks | None = None,
    aql: float | None = None,
    level: str = "II",
    severity: Severity = "normal",
    by_variables: bool = False,
    own: tuple[int, int] | None = None,
) -> PlanPart:
    """The plan of a lot of `lot` necks; `own` is (sample, accept).

    Raises
    ------
    UsageError
        When none or several ways are chosen, or a plan needs more necks than the lot has.
    """
    if [risks, aql, own].count(None) != 2:
        raise UsageError("choose one plan: --good and --bad (your two risks), --aql (a standard), or --sample (your own)")
    if own is not None:
        if by_variables:
            raise UsageError("--by-variables needs --good and --bad, or --aql: a plan of your own counts bad necks")
        return PlanPart(basis="attributes", sample=own[0], accept=own[1], source="chosen by the user")
    if by_variables:
        return _variables(_variable_plan(lot, risks, aql, level, severity), lot)
    if risks is not None:
        plan = plan_for_risks(lot=lot, risks=risks)
        return _attributes(plan, good=int(risks.good), bad=int(risks.bad))
    assert aql is not None
    return _attributes(attribute_plan(lot=lot, aql=aql, level=level, severity=severity))


def _variable_plan(lot: int, risks: StatedRisks | None, aql: float | None, level: str, severity: Severity) -> VariablePlan:
    if risks is None:
        assert aql is not None
        return variable_plan(lot=lot, aql=aql, level=level, severity=severity)
    if risks.good < 1:
        raise UsageError("--good 0 has no meaning by variables: a normal scatter always leaves some outside; give at least 1")
    fractions = StatedRisks(
        good=risks.good / lot, bad=risks.bad / lot, makers_risk=risks.makers_risk, buyers_risk=risks.buyers_risk
    )
    return variable_plan_for_risks(risks=fractions)


def _variables(plan: VariablePlan, lot: int) -> PlanPart:
    if plan.sample > lot:
        raise UsageError(
            f"the plan by variables measures {plan.sample} necks but the lot has only {lot}: count bad necks instead"
        )
    return PlanPart(basis="variables", sample=plan.sample, k=plan.k, source=plan.source)


def _attributes(plan: SamplingPlan, *, good: int | None = None, bad: int | None = None) -> PlanPart:
    return PlanPart(basis="attributes", sample=plan.sample, accept=plan.accept, source=plan.source, good=good, bad=bad)
