"""The files that come out: tables, curves and the page."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from jarvision.base.files import write_whole
from jarvision.base.text import safe_name
from jarvision.records import JarEntry, ShelfResult
from jarvision.verdict.plan import Plan


def write_report(
    result: ShelfResult,
    out: Path,
    *,
    plan: Plan | None = None,
    register: Mapping[str, JarEntry] | None = None,
) -> None:
    """Write the five tables, ``curves/<jar>.svg`` and ``report.html`` into ``out``.

    Parameters
    ----------
    plan
        Also writes ``plan.csv`` and ``plan.ics``, and shows it in the page.
    register
        All jars that the grower knows of, for the relatives; without it those with photos.

    Raises
    ------
    NotWritableError
        When a file cannot be written.
    """
    from jarvision.report.charts import draw_curves
    from jarvision.report.page import write_page
    from jarvision.report.plan_files import write_plan
    from jarvision.report.tables import write_tables

    write_tables(result, out)
    if plan is not None:
        write_plan(plan, out, shelf=result.folder)
    curves = {}  # in files, not in memory: a large shelf has thousands
    for jar, curve in draw_curves(result.stories):
        if curve:
            path = out / "curves" / f"{safe_name(jar)}.svg"
            curves[jar] = write_whole(path, curve.encode("utf-8"))
    write_page(result, out, plan=plan, register=register, curves=curves)
