"""The score of a run, in words and tables, and its page: docs/mutation.md."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from scipy.stats import binomtest

from .making import ROOMS, ROOT, Mutant, size
from .trying import Tried

PAGE = ROOT / "docs" / "mutation.md"
EQUAL = Path(__file__).with_name("equal.toml")


def equal() -> dict[tuple[str, str, str], str]:
    """Mutants that do what the code does, by module, old and new line; with the reason."""
    listed = tomllib.loads(EQUAL.read_text("utf-8"))["equal"]
    return {(e["module"], e["was"], e["now"]): e["why"] for e in listed}


def _key(mutant: Mutant) -> tuple[str, str, str]:
    return mutant.module, mutant.was, mutant.now


def line(found: Tried) -> str:
    """One mutant, as it is told while the run goes on."""
    mutant = found.mutant
    place = f"{mutant.module}:{mutant.first_line}"
    head = f"{found.outcome:9}{found.seconds:6.1f} s  {place}  {mutant.operator}"
    if found.outcome != "survived":
        return f"{head}  {found.by}"
    why = equal().get(_key(mutant))
    note = f"\n          equal: {why}" if why else ""
    return f"{head}\n        - {mutant.was}\n        + {mutant.now}{note}"


def score_table(results: Sequence[Tried]) -> str:
    """Score of each room and of all together, as markdown."""
    rows = [_row(room, [r for r in results if r.mutant.room == room]) for room in ROOMS]
    head = ("room", "places", "tried", "equal", "killed", "score", "95 % interval")
    return markdown(head, [*rows, _row("all", results)])


def _row(room: str, results: Sequence[Tried]) -> tuple[str, ...]:
    same = [r for r in results if r.outcome == "survived" and _key(r.mutant) in equal()]
    real = [r for r in results if r not in same and r.outcome != "invalid"]
    killed = sum(r.outcome != "survived" for r in real)
    places = sum(size(name) for name in ROOMS) if room == "all" else size(room)
    counts = (str(places), str(len(results)), str(len(same)), f"{killed} of {len(real)}")
    if not real:
        return (room, *counts, "–", "–")
    ends = binomtest(killed, len(real)).proportion_ci(method="wilson")
    interval = f"{100 * ends.low:.0f} to {100 * ends.high:.0f} %"
    return (room, *counts, f"{100 * killed / len(real):.0f} %", interval)


def survivors(results: Iterable[Tried]) -> str:
    """What no test noticed, and does not stand among the equal ones."""
    left = [r.mutant for r in results if r.outcome == "survived" and _key(r.mutant) not in equal()]
    rows = [(f"`{m.module.removeprefix('jarvision/')}`", _code(m.was), _code(m.now)) for m in left]
    return markdown(("module", "was", "survives as"), rows) if rows else "None."


def same(results: Iterable[Tried]) -> str:
    """Those that survived because they change nothing, with the reason."""
    rows = [
        (_code(r.mutant.was), _code(r.mutant.now), why)
        for r in results
        if r.outcome == "survived" and (why := equal().get(_key(r.mutant)))
    ]
    return markdown(("was", "same as", "because"), rows) if rows else "None."


def _code(text: str) -> str:
    return f"`{text.replace('|', chr(92) + '|')}`"


def markdown(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; that of ``tests.accuracy`` would load the package before its mutant."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def write(results: Sequence[Tried], seed: int, *, page: Path = PAGE) -> None:
    """Put the score of this run into the page."""
    from tests.accuracy.benchmark import commit, section  # loads the package

    today = datetime.now(UTC).date()
    stamp = f"Measured on {today:%d %B %Y} at commit {commit()}, seed {seed}."
    text = page.read_text("utf-8")
    parts = {
        "score": f"{stamp}\n\n{score_table(results)}",
        "survivors": survivors(results),
        "equal": same(results),
    }
    for name, content in parts.items():
        text = section(text, name, content, command="make mutants")
    page.write_text(text, "utf-8")
