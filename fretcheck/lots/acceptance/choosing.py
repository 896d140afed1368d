"""Choose a lot's plan: from two stated risks, from a standard, or the user's own.

Conventions: exactly one way may be chosen. All count bad necks: a neck's worst note is the largest of a hundred and widened by
the hand, so it does not scatter normally, and a plan by variables cannot keep the risks that it promises.
"""

from fretcheck.errors import UsageError
from fretcheck.lots.acceptance.attribute_plans import Severity, attribute_plan
from fretcheck.lots.acceptance.lot_record import PlanPart
from fretcheck.lots.acceptance.risks import SamplingPlan, StatedRisks, plan_for_risks


def choose_plan(
    *,
    lot: int,
    risks: StatedRisks | None = None,
    aql: float | None = None,
    level: str = "II",
    severity: Severity = "normal",
    own: tuple[int, int] | None = None,
) -> PlanPart:
    """The plan of a lot of `lot` necks; `own` is (sample, accept).

    Raises UsageError when none or several ways are chosen, or a plan needs more necks than the lot has.
    """
    if [risks, aql, own].count(None) != 2:
        raise UsageError("choose one plan: --good and --bad (your two risks), --aql (a standard), or --sample (your own)")
    if own is not None:
        return PlanPart(sample=own[0], accept=own[1], source="chosen by the user")
    if risks is not None:
        plan = plan_for_risks(lot=lot, risks=risks)
        return _attributes(plan, good=int(risks.good), bad=int(risks.bad))
    assert aql is not None
    return _attributes(attribute_plan(lot=lot, aql=aql, level=level, severity=severity))


def _attributes(plan: SamplingPlan, *, good: int | None = None, bad: int | None = None) -> PlanPart:
    return PlanPart(sample=plan.sample, accept=plan.accept, source=plan.source, good=good, bad=bad)
