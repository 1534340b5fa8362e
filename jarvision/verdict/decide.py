"""From a jar's history and growth to its verdict: explicit rules, each with its numbers.

The costs are not even. In units of a needless look, as the rules weigh them (common practice, no
source):

| | said of a good jar | said of a bad jar |
|---|---|---|
| ``go`` | 0 | 1000: it is broken up over the next batch and takes it along |
| ``wait`` | 1: a day | 5: a day longer in the room |
| ``check`` | 1: a look | 1: the look finds it |
| ``no-go`` | 50: a jar is lost | 0 |

So ``go`` must be wrong in fewer than 1 of 1000 and ``no-go`` in fewer than 1 of 50 cases, and what
lies between is ``check``: every rule may only make the verdict harder, ``go`` is what is left when
no rule speaks and the lower bound of the coverage says so on more than one day, and ``no-go`` is
said only of what is large, seen twice or lasting.

The rules (:mod:`jarvision.verdict.rules`), in the order in which their reasons are told:

1. photo: none usable, dated wrong, too little seen, colours not matched -> check
2. off-colour, not normal for the species: large or on two photos -> no-go; else check, until its
   place was seen again without it (a large area is never forgotten)
3. wet -> check; large -> no-go
4. dead patch: bare, standing still in a late jar -> no-go; in a thin species -> check
5. fast front: white that runs faster than the species -> check
6. stall -> check; long -> no-go
7. late: not ready long after its species should be -> check
8. pins inside the jar -> check
9. the last photo is too old -> check
10. ready, rested and sure -> go; past its keeping time, a newer photo refused or a large bare
    area left -> check; else -> wait (:mod:`jarvision.verdict.readiness`)
"""

from __future__ import annotations

from datetime import date
from statistics import median

from jarvision.records import Flag, Growth, JarHistory, Verdict, VerdictWord
from jarvision.register.species import SpeciesProfile
from jarvision.settings.groups import Settings
from jarvision.verdict.evidence import Case, area_and_confidence
from jarvision.verdict.readiness import ripeness
from jarvision.verdict.rules import RULES

HARDNESS: tuple[VerdictWord, ...] = ("go", "wait", "check", "no-go")
"""The verdicts from softest to hardest; the hardest finding is the verdict."""


def decide(
    history: JarHistory,
    growth: Growth,
    profile: SpeciesProfile,
    *,
    today: date,
    settings: Settings | None = None,
    siblings: tuple[str, ...] = (),
) -> tuple[Verdict, tuple[Flag, ...]]:
    """Decide about one jar.

    Parameters
    ----------
    growth
        Of the same history and day.
    siblings
        Other jars made from the same spawn jar, for the ``shared_parent`` flag.

    Returns
    -------
    The verdict, its reasons hardest first, and the flags.
    """
    chosen, entry = settings or Settings(), history.entry
    case = Case(
        history=history,
        days=tuple(d for d in history.days if (entry.started or d.day) <= d.day <= today),
        growth=growth,
        profile=profile,
        today=today,
        limits=chosen.verdict,
        half_view_deg=chosen.tracking.half_view_deg,
        wall_radius_mm=_radius_mm(history, chosen),
        front_limits=chosen.front,
    )
    findings = [finding for rule in RULES for finding in rule(case)]
    if not findings:
        findings = ripeness(case)
    findings.sort(key=lambda f: -HARDNESS.index(f.verdict))  # stable: rule order within a verdict
    verdict = Verdict(
        jar=history.entry.jar,
        species=history.entry.species,
        verdict=findings[0].verdict,
        reasons=tuple(f.reason for f in findings),
        coverage=case.last.coverage if case.days else None,
        growth=growth,
    )
    raised = [Flag(history.entry.jar, f.day or today, f.flag, f.reason) for f in findings if f.flag]
    return verdict, (*raised, *_notes(case, siblings))


def _radius_mm(history: JarHistory, settings: Settings) -> float:
    """Return the median of the jar's inner radius, an ordinary one where none is known."""
    radii = [d.radius_mm for d in history.days if d.radius_mm is not None]
    return float(median(radii)) if radii else settings.tracking.wall_radius_mm


# --------------------------------------------------------------------------- notes
def _notes(case: Case, siblings: tuple[str, ...]) -> list[Flag]:
    """Raise the flags that do not touch the verdict."""
    jar, entry = case.history.entry.jar, case.history.entry
    notes = []
    if not entry.registered:
        notes.append(Flag(jar, None, "unregistered", f"Jar {jar} is not in the register."))
    if siblings:
        text = f"Spawn jar {entry.parent} feeds {', '.join((jar, *siblings))}."
        notes.append(Flag(jar, entry.started, "shared_parent", text))
    notes.extend(_photo_notes(case))
    if case.days:
        notes.extend(_wall_notes(case))
    return notes


def _photo_notes(case: Case) -> list[Flag]:
    """Tell refused photos and days taken from the file's date."""
    jar = case.history.entry.jar
    refused = [
        Flag(jar, r.taken_at.date(), "photo_refused", f"{r.photo}: {r.reason}. {r.detail}".strip())
        for r in case.history.refused
    ]
    unsure = [
        Flag(jar, d.day, "file_date", f"{r.photo}: day {d.day} is the file's date.")
        for d in case.days
        for r in d.readings
        if r.time_source == "file"
    ]
    return refused + unsure


def _wall_notes(case: Case) -> list[Flag]:
    """Tell normal staining, a low fill and a turned jar, of the last day."""
    jar, last, limits = case.history.entry.jar, case.last, case.limits
    notes = []
    normal = {k: area_and_confidence(last, k)[0] for k in case.profile.normal_kinds}
    for kind, area in normal.items():
        if area >= limits.stain_note_cm2:
            text = f"{kind.capitalize()} colour of {area:.1f} cm2: normal for {case.profile.latin}."
            notes.append(Flag(jar, last.day, "stain", text))
    known = [r.groove_height_mm for r in last.readings if r.groove_height_mm is not None]
    groove = max(known) if known else limits.groove_height_mm
    if groove is not None and last.fill_height_mm < groove:
        unsure = max((2.0 * r.fill_sd_mm for r in last.readings if r.fill_sd_mm), default=0.0)
        margin = f" (give or take {unsure:.0f} mm)" if unsure else ""
        text = f"Filled to {last.fill_height_mm:.0f} mm{margin}; the groove is at {groove:.0f} mm."
        notes.append(Flag(jar, last.day, "low_fill", text))
    notes += [
        Flag(jar, last.day, "jar_shape", f"{r.photo}: {r.shape_conflict}.")
        for r in last.readings
        if r.shape_conflict
    ]
    notes.extend(_turned_notes(case))
    return notes


def _turned_notes(case: Case) -> list[Flag]:
    """Tell a jar that shows another side than the day before: by its contents, or its patches."""
    jar, last = case.history.entry.jar, case.last
    if last.turned_away:
        text = f"On {last.day} the jar shows another side than before, or its contents were shaken."
        return [Flag(jar, last.day, "turned", text)]
    if last.turn is not None or len(case.days) < 2:
        return []
    before, now = case.days[-2], last
    if len(before.patches) < 3 or len(now.patches) < 3:
        return []
    if any(p.trend != "new" for p in now.patches):
        return []
    text = (
        f"None of the {len(now.patches)} patches of {now.day} lies where one of the "
        f"{len(before.patches)} of {before.day} lay."
    )
    return [Flag(jar, now.day, "turned", text)]
