"""How old the measured figures of the docs are: ``python docs/ages.py``.

Figures that a command made stand under ``Measured on DATE at commit HASH.`` What has changed since
in the code that they describe may have changed them. It is told here, and at the end of continuous
integration, and fails nothing: whoever measures again decides when that is worth the hours.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

DOCS = Path(__file__).parent
STAMP = re.compile(r"\bat\s+commit\s+([0-9a-f]{7,40})\b")
SINCE = re.compile(r"\bcommit ([0-9a-f]{7,40}), 12 megapixels")
CODE_OF = {
    "accuracy.md": ("jarvision/vision", "jarvision/settings"),
    "edits.md": ("jarvision/vision", "jarvision/settings", "jarvision/verdict"),
    "mutation.md": ("jarvision/verdict", "jarvision/growth", "jarvision/vision", "tests"),
    "speed.md": ("jarvision",),
}
"""What the figures of a page describe; of any other page, all code."""


@dataclass(frozen=True)
class Age:
    """Figures of a page, and how many commits have changed their code since; None: not known."""

    page: str
    commit: str
    changes: int | None

    def tell(self) -> str:
        """One line for the log."""
        if self.changes is None:
            return f"{self.page}: figures of commit {self.commit}, which is not in this clone"
        if self.changes == 0:
            return f"{self.page}: figures of commit {self.commit}, of today's code"
        return (
            f"{self.page}: figures of commit {self.commit}, older than the code: it was changed by "
            f"{self.changes} commits since"
        )


def stamps(page: Path) -> list[str]:
    """The commits that a page names for its figures, each once, in order."""
    text = page.read_text("utf-8")
    return list(dict.fromkeys([*STAMP.findall(text), *SINCE.findall(text)]))


def changes_since(commit: str, paths: tuple[str, ...], *, root: Path) -> int | None:
    """How many commits have changed the paths since; None where the commit is not known."""
    count = ("rev-list", "--count", "--no-merges", f"{commit}..HEAD", "--", *paths)
    told = subprocess.run(  # noqa: S603
        ["git", "-C", str(root), *count],  # noqa: S607
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return int(told.stdout) if told.returncode == 0 else None


def ages(docs: Path = DOCS) -> Iterator[Age]:
    """All measured figures of the docs."""
    for page in sorted(docs.glob("*.md")):
        for commit in stamps(page):
            paths = CODE_OF.get(page.name, ("jarvision",))
            yield Age(page.name, commit, changes_since(commit, paths, root=docs.parent))


if __name__ == "__main__":
    for age in ages():
        print(age.tell())
