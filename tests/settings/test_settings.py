from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import FrozenInstanceError

import pytest

from jarvision.settings.groups import Settings
from jarvision.settings.growth import GrowthSettings
from jarvision.settings.table import sections
from jarvision.settings.toml import with_values


def test_the_digest_is_the_same_in_another_process_with_another_hash_seed() -> None:
    code = "from jarvision.settings.groups import Settings; print(Settings().digest())"
    shown = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONHASHSEED": "77"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert shown.stdout.strip() == Settings().digest()


def test_the_digest_changes_with_every_single_value() -> None:
    names = [(s.name, field) for s in sections().values() for field in s.fields.values()]
    changed = (with_values({name: {f.name: (f.default or 0) + 1}}) for name, f in names)
    digests = {Settings().digest(), *(settings.digest() for settings in changed)}
    assert len(digests) == 1 + len(names)


def test_every_setting_has_an_upper_end_and_its_default_is_allowed() -> None:
    """A blur of a hundred million pixels would hold every photo up for ever."""
    found = [field for section in sections().values() for field in section.fields.values()]
    assert [field.name for field in found if field.limits.high is None] == []
    allowed = [field.default is None or field.limits.allows(field.default) for field in found]
    assert all(allowed)


def test_settings_cannot_be_changed_in_place() -> None:
    with pytest.raises(FrozenInstanceError):
        GrowthSettings().min_days = 2  # type: ignore[misc]


def test_every_setting_says_what_it_is_for() -> None:
    found = [field for section in sections().values() for field in section.fields.values()]
    assert [field.name for field in found if len(field.reason) < 20] == []
    assert [section.name for section in sections().values() if not section.about] == []
