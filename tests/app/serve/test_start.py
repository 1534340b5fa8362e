"""The command as a grower starts it, and a real photo through it."""

from __future__ import annotations

import hashlib
import http.client
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

SAMPLES = Path(__file__).parents[3] / "sample_images"
PATIENCE_S = 90.0


class Client:
    """A browser over a real connection."""

    def __init__(self, port: int) -> None:
        self.host = f"127.0.0.1:{port}"
        self.cookie = ""

    def ask(self, method: str, path: str, body: bytes = b"", **headers: str) -> tuple[int, str]:
        connection = http.client.HTTPConnection(self.host, timeout=30)
        told = {"Host": self.host, "Cookie": self.cookie, "Accept": "text/html"}
        if method != "GET":
            told["Origin"] = f"http://{self.host}"
        connection.request(method, path, body or None, {**told, **headers})
        answer = connection.getresponse()
        text = answer.read().decode("utf-8", "replace")
        self.cookie = (answer.getheader("Set-Cookie") or self.cookie).split(";")[0]
        connection.close()
        return answer.status, text

    def come_in(self, code: str) -> str:
        """Open the door; the token of the session."""
        form = {"Content-Type": "application/x-www-form-urlencoded"}
        status, _ = self.ask("POST", "/enter", urlencode({"code": code}).encode(), **form)
        assert status == 303
        found = re.search(r'name="csrf" content="([^"]+)"', self.ask("GET", "/")[1])
        assert found is not None
        return found[1]


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_a_photo_from_the_phone_to_the_verdict(tmp_path: Path) -> None:
    folder, out = tmp_path / "photos", tmp_path / "out"
    folder.mkdir()
    shutil.copy(SAMPLES / "SL01_2026-03-02.jpg", folder)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-c", "from jarvision.app.cli.main import run; run()"]
    options = ["serve", folder, "--out", out, "--port", str(port), "--jobs", "1"]
    server: Any = subprocess.Popen(
        [*command, *map(str, options)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        code = re.search(r"enter#(\w+)", server.stdout.readline())
        assert code is not None, server.stderr.read()
        client = Client(port)
        assert client.ask("GET", "/today")[0] == 303
        assert client.ask("GET", "/today", Host="evil.example")[0] == 421
        token = client.come_in(code[1])
        photo = (SAMPLES / "SL01_2026-03-03.jpg").read_bytes()
        sha = hashlib.sha256(photo).hexdigest()
        assert client.ask("PUT", f"/photos/{sha}?jar=SL01", photo, **{"X-CSRF": token})[0] == 202
        told = {"settled": False}
        until = time.monotonic() + PATIENCE_S
        while not told["settled"] and time.monotonic() < until:
            time.sleep(0.2)
            told = json.loads(client.ask("GET", f"/photos/{sha}")[1])
        assert told["state"] == "placed", told
        assert "The photo is good" in told["html"] and "data:image/jpeg" in told["html"]
        assert [path.name[:15] for path in sorted(folder.glob("*.jpg"))] == ["SL01_2026-03-02", "SL01_2026-03-03"]
    finally:
        server.send_signal(signal.SIGINT)
        _, talk = server.communicate(timeout=60)
    assert server.returncode == 130
    assert code[1] not in talk and token not in talk and client.cookie.split("=")[1] not in talk
    assert "Traceback" not in talk
    explained = subprocess.run(
        [*command, "explain", "SL01", "--out", str(out)],
        capture_output=True, text=True, check=False, cwd=tmp_path,
    )  # fmt: skip
    assert explained.returncode == 0 and "3 Mar" in explained.stdout.replace("March", "Mar")
