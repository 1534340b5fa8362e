"""A folder of photos behind a real address: a server on this machine."""

from __future__ import annotations

import functools
import threading
from collections.abc import Iterator
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from paced import PACE_S, files_of, fill, paced
from scoring import score_folder

from jarvision.report import write_report
from jarvision.run.sources import open_folder
from jarvision.run.workers import local_fleet

pytest.importorskip("fsspec")
pytest.importorskip("aiohttp", reason="fsspec needs it for http")


class Quiet(SimpleHTTPRequestHandler):
    """Serves files and lists folders, and says nothing."""

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - its own name
        pass


@pytest.fixture
def address(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    monkeypatch.setenv(PACE_S, "0")
    fill(tmp_path / "photos", jars=2, days=3)
    (tmp_path / "photos" / "jars.csv").write_text("jar,species\nJ00,oyster\n")
    handler = functools.partial(Quiet, directory=str(tmp_path))
    with ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}/photos"
        server.shutdown()
        thread.join()


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_photos_on_a_server_give_the_bytes_of_those_in_a_folder(
    address: str, tmp_path: Path
) -> None:
    for where, out in ((str(tmp_path / "photos"), "near"), (address, "far")):
        with open_folder(where) as source:
            score_folder(
                source,
                out=tmp_path / out,
                fleet=local_fleet(1),
                read=paced,
                publish=lambda result, out=out: write_report(result, tmp_path / out),
            )
    assert "readings.csv" in files_of(tmp_path / "far")
    assert files_of(tmp_path / "far") == files_of(tmp_path / "near")
