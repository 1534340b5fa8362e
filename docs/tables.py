"""Write the tables of the docs from the code that they describe.

``python docs/tables.py`` rewrites them in place; a test fails when they are stale. A table stands
between two comments, ``<!-- NAME: made by docs/tables.py -->`` and ``<!-- end of NAME -->``.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from jarvision.records import STAGES
from jarvision.records.flags import FLAGS
from jarvision.records.photo_reasons import PHOTO_REASONS
from jarvision.register.species import SpeciesProfile
from jarvision.register.species.profiles import DEFAULT_PROFILE, UNITS, load_profiles
from jarvision.settings.table import SettingField, sections
from jarvision.settings.toml import as_plain
from jarvision.verdict.plan import TASKS

DOCS = Path(__file__).parent


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Markdown table."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def reasons() -> str:
    """Why a photo gives no reading."""
    rows = ((f"`{r.word}`", r.meaning, r.remedy) for r in PHOTO_REASONS.values())
    return table(("reason", "means", "what to do"), rows)


def flags() -> str:
    """What a person should know about a jar."""
    rows = ((f"`{f.word}`", f.severity, f.meaning, f.remedy) for f in FLAGS.values())
    return table(("flag", "severity", "means", "what to do"), rows)


def lines() -> str:
    """Where the verdict draws its lines, with the reasons that stand beside them in the code."""
    fields = sections()["verdict"].fields.values()
    return table(("line", "value", "why"), ((f"`{f.name}`", _default(f), f.reason) for f in fields))


def tasks() -> str:
    """Words of the plan."""
    rows = ((f"`{task}`", meaning) for task, meaning in TASKS.items())
    return table(("task", "means"), rows)


def stages() -> str:
    """Stages of a fruiting jar."""
    return table(("stage", "means"), ((f"`{stage}`", means) for stage, means in STAGES.items()))


def settings() -> str:
    """Every section of a settings file, with all its values."""
    head = ("setting", "default", "may be", "why")
    parts = []
    for section in sections().values():
        rows, told = [], ""
        for field in section.fields.values():
            why = "as above" if field.reason == told else as_plain(field.reason)
            allowed = field.allowed.removeprefix("a ")
            rows.append((f"`{field.name}`", _default(field), allowed, why))
            told = field.reason
        parts.append(f"## `[{section.name}]`\n\n{as_plain(section.about)}\n\n{table(head, rows)}")
    return "\n\n".join(parts)


def _default(field: SettingField) -> str:
    return "not set" if field.default is None else f"{field.default:g} {field.unit}".strip()


def species() -> str:
    """All profiles at a glance, then each with its sources."""
    known = load_profiles()
    head = ("species", "ready from", "rests", "keeps", "spawn run", "at", "normal beside white")
    glance = table(head, (_glance(p) for p in (*known.values(), DEFAULT_PROFILE)))
    return "\n\n".join([glance, *(_profile(p) for p in known.values())])


def _glance(profile: SpeciesProfile) -> tuple[str, ...]:
    return (
        f"[{profile.name}](#{profile.name})" if profile.latin else "any other",
        f"{profile.ready_percent:g} %",
        f"{profile.consolidation_days} days",
        f"{profile.keeps_days} days",
        f"{_span(profile.spawn_run_days)} days",
        f"{_span(profile.spawn_run_c)} C",
        ", ".join(profile.normal_kinds) or "nothing",
    )


def _profile(profile: SpeciesProfile) -> str:
    names = "; ".join(profile.common)
    rows = (
        (f"`{key}`", _shown(getattr(profile, key), unit), profile.sources[key])
        for key, unit in UNITS.items()
    )
    cells = table(("value", "", "source"), rows)
    return f"## {profile.name}\n\n*{profile.latin}*. Also found as: {names}.\n\n{cells}"


def _shown(value: object, unit: str) -> str:
    if isinstance(value, tuple):
        numbers = [v for v in value if isinstance(v, float)]
        text = _span(numbers) if numbers else ", ".join(map(str, value)) or "none"
    else:
        text = f"{value:g}" if isinstance(value, float) else str(value)
    return f"{text} {unit}".strip()


def _span(pair: Sequence[float]) -> str:
    return f"{pair[0]:g} to {pair[1]:g}"


def rooms() -> str:
    """Every module in its room, by the first sentence of its docstring."""
    package = DOCS.parent / "jarvision"
    parts = []
    for face in sorted(package.rglob("__init__.py")):
        room = face.parent.relative_to(package.parent).as_posix()
        modules = sorted(face.parent.glob("*.py"))
        rows = [(f"`{m.name}`", _about(m)) for m in modules if m != face]
        parts.append(f"## `{room}/`\n\n{_about(face)}")
        if rows:
            parts.append(table(("module", "what"), rows))
    return "\n\n".join(parts)


def _about(module: Path) -> str:
    docstring = ast.get_docstring(ast.parse(module.read_text("utf-8"))) or ""
    return as_plain(docstring.split("\n\n")[0].replace("\n", " "))


TABLES = {
    "fruiting.md": (stages,),
    "method.md": (lines,),
    "paperwork.md": (tasks,),
    "questions.md": (reasons, flags),
    "rooms.md": (rooms,),
    "settings.md": (settings,),
    "species.md": (species,),
}


def pages() -> dict[Path, str]:
    """Every page of the docs as it should read: its own text, with fresh tables."""
    found = {}
    for name, makers in TABLES.items():
        text = (DOCS / name).read_text("utf-8")
        for make in makers:
            text = _filled(text, make.__name__, make(), page=name)
        found[DOCS / name] = text
    return found


def _filled(text: str, name: str, content: str, *, page: str) -> str:
    begin, end = f"<!-- {name}: made by docs/tables.py -->", f"<!-- end of {name} -->"
    place = re.compile(f"{re.escape(begin)}.*?{re.escape(end)}", re.DOTALL)
    if len(place.findall(text)) != 1:
        raise ValueError(f"{page} must hold one place for the table '{name}'")
    return place.sub(lambda _: f"{begin}\n\n{content}\n\n{end}", text)


if __name__ == "__main__":
    for path, text in pages().items():
        path.write_text(text, "utf-8")
