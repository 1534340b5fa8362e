"""Write the lower bounds of ``pyproject.toml`` as constraints for pip, one a line."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path

BOUND = re.compile(r"([A-Za-z0-9._-]+)>=([0-9.]+)")


def main() -> int:
    """Write ``name==bound`` for all that the package and its tests need."""
    text = (Path(__file__).parents[1] / "pyproject.toml").read_text("utf-8")
    project = tomllib.loads(text)["project"]
    for wanted in (*project["dependencies"], *project["optional-dependencies"]["test"]):
        found = BOUND.match(wanted)
        if found is None:
            print(f"no lower bound: {wanted}", file=sys.stderr)
            return 1
        print(f"{found[1]}=={found[2]}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
