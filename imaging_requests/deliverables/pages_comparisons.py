"""What the page of a comparison shows."""

from __future__ import annotations

from typing import Any

from django.urls import reverse

from imaging_requests.deliverables import policies
from imaging_requests.deliverables.forms import RetestForm
from imaging_requests.deliverables.models import Comparison, Deliverable, RetestPair
from imaging_requests.deliverables.retests import floor_unit, retest_for, why_no_retest
from imaging_requests.people.clock import studio_time
from imaging_requests.people.models import User
from imaging_requests.people.policies import may
from imaging_requests.requesting.words import numbers_of

#: Where pictures of one object are laid over each other; the address belongs to an outer room.
LOOK = "progress:look"


def comparison_context(row: Comparison, *, user: User, form: RetestForm) -> dict[str, Any]:
    """Gather the page."""
    report = row.report or {}
    drawn = report.get("map") or {}
    vouched = RetestPair.objects.filter(comparison=row).select_related("station", "by").first()
    return {
        "row": row,
        "number": numbers_of([row.before.object_id])[row.before.object_id],
        "answer": _answer(row, drawn),
        "before_words": _words(row.before),
        "after_words": _words(row.after),
        "look_href": f"{reverse(LOOK, args=[row.before.object_id])}"
        f"?p={row.before_id}&p={row.after_id}&mode=side",
        "is_waiting": row.verdict == Comparison.Verdict.WAITING,
        "no_map": report.get("no_map_because", ""),
        "shares_because": _shares_because(drawn) if drawn.get("may_be_shown") else "",
        "warnings": report.get("warnings", []),
        "rows": report.get("rows", []),
        "zones": drawn.get("zones", []) if drawn.get("may_be_shown") else [],
        "unit": drawn.get("unit") or floor_unit(row.before.technique),
        "facts": _facts(row, report, drawn),
        "picture_href": f"{reverse('deliverables:comparison_picture', args=[row.pk])}"
        f"?of={row.recipe[:16]}",
        "may_compare": may(user, policies.COMPARE),
        "vouched": vouched,
        "form": form
        if may(user, policies.VOUCH_RETEST) and vouched is None and not why_no_retest(row)
        else None,
    }


def _words(row: Deliverable) -> str:
    return f"{row}, {studio_time(row.captured_at):%-d %b %Y}"


def _answer(row: Comparison, drawn: dict[str, Any]) -> str:
    if row.verdict == Comparison.Verdict.WAITING:
        return "What changed is being computed"
    if row.verdict == Comparison.Verdict.NOT_COMPARED:
        return "These two pictures cannot be compared"
    if row.verdict == Comparison.Verdict.SIDE_BY_SIDE:
        return "These two pictures stand side by side"
    share = float(drawn.get("marked_percent", 0))
    if not drawn.get("zones"):
        return "No change that these pictures could show"
    whole = "face" if drawn.get("shares_of") == "face" else "picture"
    return f"{share:.1f} % of the {whole} changed visibly"


def _shares_because(drawn: dict[str, Any]) -> str:
    """Say why shares are not of the face; older reports do not say what theirs are of."""
    if "shares_of" not in drawn:
        return (
            "Shares may be of the picture, ground included: this was computed by an earlier "
            "version, which did not always look for the face. Compute it again."
        )
    return str(drawn["shares_because"])


def _facts(row: Comparison, report: dict[str, Any], drawn: dict[str, Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    if row.grade:
        found.append({"label": "Grade", "value": row.grade, "note": report.get("meaning", "")})
    if drawn.get("may_be_shown"):
        unit = drawn["unit"]
        retest = retest_for(row.before, row.after)
        note = (
            "no retest of this station is kept; the least floor, widened by the charts"
            if retest is None
            else f"from the retest kept on {studio_time(retest.recorded_at):%-d %b %Y}"
        )
        found += [
            {"label": "Noise floor", "value": f"{drawn['floor']:.1f}", "unit": unit, "note": note},
            {"label": "Cannot be told", "value": f"{drawn['hatched_percent']:.1f}", "unit": "%"},
        ]
    fit = report.get("alignment") or {}
    if fit.get("residual_mm") is not None:
        found.append(
            {
                "label": "Laid over each other to",
                "value": f"{fit['residual_mm']:.2f}",
                "unit": "mm",
                "note": f"{fit['agreeing_percent']:.0f} % of {fit['parts']} parts agree",
            }
        )
    return found
