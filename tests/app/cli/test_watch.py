"""``jarvision watch`` as a person starts it, copies a photo into the folder, and stops it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from PIL import Image

from jarvision.base.errors import ExitCode

LONG_AGO_S = 1_700_000_000
RUN = "from jarvision.app.cli.main import run; run()"


def arrive(path: Path) -> None:
    """Copy a photo that is whole, old enough to be sure of, and too small to be read."""
    Image.new("RGB", (64, 64)).save(path)
    os.utime(path, (LONG_AGO_S, LONG_AGO_S))


@pytest.mark.skipif(os.name == "nt", reason="sends Ctrl-C as POSIX does")
def test_a_photo_that_arrives_is_told_and_the_report_refreshed_until_ctrl_c(tmp_path: Path) -> None:
    folder = tmp_path / "photos"
    folder.mkdir()
    arrive(folder / "SL01_2026-03-01.jpg")
    options = ["--out", str(tmp_path / "out"), "--interval", "0.2", "--pause", "0", "--jobs", "1"]
    with subprocess.Popen(
        [sys.executable, "-c", RUN, "watch", str(folder), *options],
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "COLUMNS": "80"},
    ) as process:
        too_late = threading.Timer(120, process.kill)
        too_late.start()
        assert process.stderr is not None
        told = []
        for line in process.stderr:
            told.append(line)
            if line.startswith("Report refreshed"):
                if "1 not usable" in line:
                    arrive(folder / "SL01_2026-03-02.jpg")
                else:
                    process.send_signal(signal.SIGINT)
        too_late.cancel()
    text = "".join(told)
    assert process.returncode == ExitCode.STOPPED, text
    assert "0 photos used, 2 not usable" in text
    assert (tmp_path / "out" / "report.html").exists()
