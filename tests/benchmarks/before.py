"""The same work by the code of an earlier commit, in turns with today's on the same core.

Plain decodings are no yardstick for an alarm: from one machine to another a row takes up to half as
many again, since networks, memory and decoding do not slow down alike. Two commits do.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]
NEEDED = ("jarvision", "calibration", "tests/__init__.py", "tests/benchmarks")
READER = """
import json, sys
from pathlib import Path
import jarvision
from jarvision.run.jobs import Job, read_job, read_one
from tests.benchmarks.one_photo import seconds, stay_on_one_core

def row(path):
    reading = read_job(read_one, Job(path=path, root=path.parent, out=None)).reading
    if reading.status == "unusable":
        raise SystemExit(f"{path.name}: {reading.detail}")

print(Path(jarvision.__file__).parent.parent, flush=True)
with stay_on_one_core():
    for line in sys.stdin:
        print(seconds(row, [Path(name) for name in json.loads(line)]), flush=True)
"""


def check_out(commit: str, folder: Path, *, root: Path = ROOT) -> bool:
    """Put the package and the bench of a commit into a folder; False where no clone knows it."""
    git = ("git", "-C", str(root), "archive", commit, *NEEDED)
    packed = subprocess.run(git, capture_output=True, check=False)
    if packed.returncode:
        return False
    folder.mkdir(parents=True, exist_ok=True)
    subprocess.run(("tar", "-x", "-C", str(folder)), input=packed.stdout, check=True)
    return True


@contextmanager
def reader_of(tree: Path) -> Iterator[Callable[[Sequence[Path]], float]]:
    """Yield what tells the processor's seconds from photos to rows by the code of a tree.

    Raises:
        RuntimeError: The code that was loaded is not that of the tree, or a photo was refused.

    """
    with subprocess.Popen(
        (sys.executable, "-c", READER),
        cwd=tree,
        env={"PYTHONPATH": str(tree), "PATH": ""},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdin is not None and process.stdout is not None
        asked, told = process.stdin, process.stdout

        def read(photos: Sequence[Path]) -> float:
            print(json.dumps([str(path) for path in photos]), file=asked, flush=True)
            if not (answer := told.readline()):
                raise RuntimeError(f"the code of {tree} does not read these photos")
            return float(answer)

        try:
            if (loaded := told.readline().strip()) != str(tree.resolve()):
                raise RuntimeError(f"the code of {loaded or 'nothing'} was loaded, not of {tree}")
            yield read
        finally:
            asked.close()
