"""Photos that go away while being read are gone, not bad; a folder that goes publishes nothing."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from paced import LONG_AGO_S, files_of, fill, paced
from scoring import score_folder

from jarvision.base.errors import ExitCode, FolderLostError
from jarvision.records import Reading, ShelfResult
from jarvision.report import write_report
from jarvision.run.jobs import Job, read_one
from jarvision.run.score import MOST_VANISHED


class Share:
    """Photos scored once, whose stamps then are others, as after a share was mounted again."""

    def __init__(self, root: Path) -> None:
        self.photos, self.out = root / "photos", root / "out"
        self.names = fill(self.photos, 3, 6)
        self.score(paced)
        for name in self.names:
            path = self.photos / name
            path.write_text(f"{path.read_text()} ")
            os.utime(path, (LONG_AGO_S + 9, LONG_AGO_S + 9))
        self.before = files_of(self.out)

    def score(self, read: object) -> ShelfResult:
        def publish(result: ShelfResult) -> None:
            write_report(result, self.out)

        return score_folder(self.photos, out=self.out, read=read, publish=publish)


@pytest.fixture
def share(tmp_path: Path) -> Share:
    return Share(tmp_path)


def test_a_folder_that_goes_while_it_is_read_leaves_all_results_as_they_were(share: Share) -> None:
    calls: list[str] = []

    def going(job: Job) -> Reading:
        calls.append(job.name)
        if len(calls) == 6:
            share.photos.rename(share.photos.with_name("away"))
        return paced(job) if len(calls) < 6 else read_one(job)

    with pytest.raises(FolderLostError, match="went away") as caught:
        share.score(going)
    assert caught.value.exit_code == ExitCode.FOLDER_LOST
    after = files_of(share.out)
    assert {n: c for n, c in after.items() if "/" not in n} == {
        n: c for n, c in share.before.items() if "/" not in n
    }
    share.photos.with_name("away").rename(share.photos)
    healed = share.score(paced)
    assert {r.status for r in healed.readings} == {"ok"}
    assert len(healed.readings) == len(share.names)


@pytest.mark.parametrize("few", [True, False])
def test_a_few_photos_may_go_and_are_no_refused_ones(share: Share, few: bool) -> None:
    """The real reader meets a photo that was there when the folder was listed."""
    leaving = share.names[-MOST_VANISHED:] if few else share.names[-MOST_VANISHED - 1 :]

    def going(job: Job) -> Reading:
        if job.name in leaving:
            job.path.unlink()
            return read_one(job)
        return paced(job)

    if not few:
        with pytest.raises(FolderLostError):
            share.score(going)
        return
    result = share.score(going)
    assert [r.photo for r in result.readings] == share.names[: -len(leaving)]
    assert not any(story.history.refused for story in result.stories)


def test_a_link_that_leads_nowhere_is_still_told(share: Share) -> None:
    if os.name == "nt":
        pytest.skip("links of POSIX")
    (share.photos / "J07_2026-03-01.jpg").symlink_to(share.photos / "nowhere.jpg")

    def real(job: Job) -> Reading:
        return read_one(job) if job.name.startswith("J07") else paced(job)

    (told,) = (r for r in share.score(real).readings if r.status != "ok")
    assert (told.photo, told.reason) == ("J07_2026-03-01.jpg", "unreadable")
