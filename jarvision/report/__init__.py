"""The files that come out: tables, curves and the page."""

from __future__ import annotations

from pathlib import Path

from jarvision.identity import safe_name
from jarvision.plan import Plan
from jarvision.records import ShelfResult


def write_report(result: ShelfResult, out: Path, *, plan: Plan | None = None) -> None:
    """Write the five tables, ``curves/<jar>.png`` and ``report.html`` into ``out``.

    With a plan also ``plan.csv`` and ``plan.ics``.

    Raises
    ------
    NotWritableError
        When a file cannot be written.
    """
    from jarvision.report.charts import save_curve
    from jarvision.report.page import write_page
    from jarvision.report.plan_files import write_plan
    from jarvision.report.tables import write_tables

    write_tables(result, out)
    if plan is not None:
        write_plan(plan, out, shelf=result.folder)
    for story in result.stories:
        picture = out / "curves" / f"{safe_name(story.history.entry.jar)}.png"
        save_curve(picture, story, ready_percent=story.profile.ready_percent)
    write_page(result, out)
