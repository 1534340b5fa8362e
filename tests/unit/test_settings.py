from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import FrozenInstanceError, fields, replace
from pathlib import Path

import pytest

import jarvision.settings
from jarvision.settings import GrowthSettings, Settings


def test_the_digest_is_the_same_in_another_process_with_another_hash_seed() -> None:
    code = "from jarvision.settings import Settings; print(Settings().digest())"
    shown = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONHASHSEED": "77"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert shown.stdout.strip() == Settings().digest()


def test_the_digest_changes_with_every_single_value() -> None:
    seen = {Settings().digest()}
    count = 1
    for group in fields(Settings):
        values = getattr(Settings(), group.name)
        for item in fields(values):
            old = getattr(values, item.name)
            changed = replace(values, **{item.name: (old or 0) + 1})
            seen.add(replace(Settings(), **{group.name: changed}).digest())
            count += 1
    assert len(seen) == count


def test_settings_cannot_be_changed_in_place() -> None:
    with pytest.raises(FrozenInstanceError):
        GrowthSettings().min_days = 2  # type: ignore[misc]


def test_every_setting_says_what_it_is_for() -> None:
    text = Path(jarvision.settings.__file__).read_text("utf-8")
    bare = re.findall(r'^    (\w+): [^\n]+ = [^\n]+\n(?!    """)', text, flags=re.MULTILINE)
    assert set(bare) <= {g.name for g in fields(Settings)}
