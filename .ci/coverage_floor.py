"""Fail when fewer lines or branches of the package are run by the tests than was agreed.

Reads what ``coverage json`` wrote; coverage itself knows one floor for both together.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

LINES_PERCENT = 97.0
BRANCHES_PERCENT = 90.0


def main() -> int:
    """Say both figures; 1 when one is below its floor."""
    totals = json.loads(Path(sys.argv[1]).read_text("utf-8"))["totals"]
    lines = 100 * totals["covered_lines"] / totals["num_statements"]
    branches = 100 * totals["covered_branches"] / totals["num_branches"]
    told = f"lines {lines:.2f} % (at least {LINES_PERCENT:g})"
    print(f"Run by the tests: {told}, branches {branches:.2f} % (at least {BRANCHES_PERCENT:g})")
    return int(lines < LINES_PERCENT or branches < BRANCHES_PERCENT)


if __name__ == "__main__":
    sys.exit(main())
