"""The files that come out: tables, curves and the page."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from contextlib import suppress
from pathlib import Path

from jarvision.base.files import write_whole
from jarvision.records import JarEntry, ShelfResult
from jarvision.settings.page import PageSettings
from jarvision.verdict.plan import Plan


def write_report(
    result: ShelfResult,
    out: Path,
    *,
    plan: Plan | None = None,
    register: Mapping[str, JarEntry] | None = None,
    one_file_jars: int = PageSettings.one_file_jars,
) -> None:
    """Write the tables, ``curves/<jar>.svg`` and ``report.html`` into ``out``.

    With more than ``one_file_jars`` jars on the shelf each has ``jars/<jar>.html`` beside the page.

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
    from jarvision.report.curves import draw_curves
    from jarvision.report.farm import write_farm
    from jarvision.report.file_names import file_names
    from jarvision.report.jar_files import sweep_jar_files
    from jarvision.report.page import write_page
    from jarvision.report.plan_files import write_plan
    from jarvision.report.tables import write_tables

    write_tables(result, out)
    if plan is not None:
        write_plan(plan, out, shelf=result.folder, parts=result.parts)
    curves = {}  # in files, not in memory: a large shelf has thousands
    names = file_names(story.verdict.jar for story in result.all_stories)
    for jar, curve in draw_curves(result.stories, result.parts):
        if curve:
            path = out / "curves" / f"{names[jar]}.svg"
            curves[jar] = _written(path, curve.encode("utf-8"))
    if len(result.stories) > one_file_jars:
        write_farm(result, out, plan=plan, register=register, curves=curves)
    else:
        write_page(result, out, plan=plan, register=register, curves=curves)
        sweep_jar_files(out, ())
    _sweep_curves(out / "curves", set(names.values()))


def _written(path: Path, content: bytes) -> Path:
    """Write a file that is not there as it shall be: to write hundreds takes a second."""
    with suppress(OSError):
        if path.read_bytes() == content:
            return path
    return write_whole(path, content)


def _sweep_curves(folder: Path, names: Collection[str]) -> None:
    """Take away the curves of jars that are called otherwise now, or are no more.

    Jars whose story is over keep the last one.
    """
    for path in folder.glob("*.svg"):
        if path.stem not in names:
            with suppress(OSError):  # old, but in nobody's way
                path.unlink()
