"""What edits cost: tables in Markdown."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from tests.accuracy.figures import markdown

from .reading import AS_IT_IS, Answer
from .scene import Edit
from .sources import Source
from .table import EDITS

EDIT_HEAD = ("edit", "what", "accepted", "silent", "worst error", "in the interval", "refused as")
KIND_HEAD = ("kind", "edited photos", "accepted", "silent", "in the interval", "refused in error")
DASH = "–"


def held_percent(read: Sequence[Answer]) -> str:
    """How many intervals hold the truth."""
    return f"{100.0 * sum(a.held for a in read) / len(read):.0f} %" if read else DASH


def told(answer: Answer) -> str:
    """Truth, reading and interval."""
    return (f"{answer.true_percent:.0f} → {answer.percent:.0f} "
            f"[{answer.low:.0f}, {answer.high:.0f}]")  # fmt: skip


def worst(read: Sequence[Answer]) -> str:
    """The largest error among the silent ones, else among all."""
    if not read:
        return DASH
    return told(max(read, key=lambda a: (a.silent, abs(a.error))))


def reasons(answers: Iterable[Answer]) -> str:
    """Reason words with their counts, most frequent first."""
    counts = Counter(a.reason for a in answers if a.reason)
    return ", ".join(f"{word} {n}" for word, n in counts.most_common()) or DASH


def edit_row(edit: Edit, answers: Sequence[Answer]) -> tuple[str, ...]:
    """One line of an edit."""
    mine = [a for a in answers if a.edit == edit.word]
    read = [a for a in mine if a.accepted]
    silent = sum(a.silent for a in read)
    refused = reasons(mine)
    if not edit.harm and refused != DASH:
        refused = f"**in error:** {refused}"
    count = f"**{silent}**" if silent else "0"
    return (f"`{edit.word}`", edit.meaning, f"{len(read)} of {len(mine)}", count,
            worst(read), held_percent(read), refused)  # fmt: skip


def edit_table(answers: Sequence[Answer]) -> str:
    """All edits that were made, in their order."""
    made = {a.edit for a in answers}
    rows = [edit_row(edit, answers) for edit in EDITS.values() if edit.word in made]
    return markdown(EDIT_HEAD, rows)


def _share(part: int, whole: int) -> str:
    return f"{part} of {whole} ({100.0 * part / whole:.1f} %)" if whole else DASH


def kind_row(name: str, answers: Sequence[Answer]) -> tuple[str, ...]:
    """One line of a kind of edits, or of all."""
    read = [a for a in answers if a.accepted]
    harmless = [a for a in answers if not EDITS[a.edit].harm]
    return (name, f"{len(answers)}", f"{len(read)}",
            _share(sum(a.silent for a in read), len(answers)), held_percent(read),
            _share(sum(not a.accepted for a in harmless), len(harmless)))  # fmt: skip


def kind_table(answers: Sequence[Answer]) -> str:
    """By kind of edit; silent errors as a share of all edited photos."""
    edits = [a for a in answers if a.edit != AS_IT_IS]
    kinds = dict.fromkeys(edit.kind for edit in EDITS.values())
    groups = ((kind, [a for a in edits if EDITS[a.edit].kind == kind]) for kind in kinds)
    rows = [kind_row(kind, group) for kind, group in groups if group]
    return markdown(KIND_HEAD, [kind_row("**all**", edits), *rows])


def source_table(found: Sequence[tuple[Source, Sequence[Answer]]]) -> str:
    """Each source: photos as they are, then edited."""
    rows = []
    for source, answers in found:
        plain = [a for a in answers if a.edit == AS_IT_IS]
        edits = [a for a in answers if a.edit != AS_IT_IS]
        read = [a for a in plain if a.accepted]
        rows.append((
            source.meaning, f"{len(read)} of {len(plain)}", reasons(plain),
            f"{sum(a.silent for a in plain)}", held_percent(read), f"{len(edits)}",
            _share(sum(a.silent for a in edits), len(edits)),
        ))  # fmt: skip
    head = ("photos", "read as they are", "refused as", "silent", "in the interval",
            "edited photos", "silent when edited")  # fmt: skip
    return markdown(head, rows)


def refused_list(answers: Iterable[Answer]) -> str:
    """Good photos refused as they are."""
    lines = [f"- {a.photo}: {a.reason}, {a.detail}" for a in answers
             if a.edit == AS_IT_IS and a.reason]  # fmt: skip
    return "\n".join(lines)
