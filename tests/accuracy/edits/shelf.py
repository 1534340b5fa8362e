"""Does an edit reach a verdict? The sample shelf's last days, all photos of it edited alike."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

from jarvision.run.results import last_result
from jarvision.run.shelf import open_shelf
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look
from tests.accuracy.figures import markdown
from tests.support.scoring import score_folder

from .files import save_edited
from .scene import JarScene
from .table import EDITS, edit_digest, edited

DAYS = tuple(f"2026-03-0{day}" for day in range(5, 10))
BAD = {"SL02": "still growing", "SL03": "green mould", "SL06": "a bare area that stays",
       "SL07": "wet bottom", "SL08": "stalled"}  # fmt: skip
CLEAN = ("SL01", "SL04", "SL05")
WORDS = (
    "none", "focal_lost", "focal_x4", "messenger", "jpeg_10", "jar_blur_4", "jar_blur_8",
    "smooth_guided", "fog_30", "fog_60", "fog_85", "fog_all_60", "kraft_60x40", "masking_tape",
    "white_print", "white_round", "grow_pink", "grow_amber", "jar_warm", "colours_20", "faded_30",
    "print_94", "trimmed", "head_down_lid", "rice", "pale_90",
)  # fmt: skip
"""Edits that a shelf is put through: the worst of every kind, and the first as it is."""

NO_VERDICT = "–"


def edit_jar(jar: str, *, samples: Path, out: Path, word: str) -> None:
    """Write the edited photos of one jar, those that are not there yet."""
    for day in DAYS:
        path = samples / f"{jar}_{day}.jpg"
        if not list(out.glob(f"{path.stem}.*")):
            scene = JarScene.of(look(read_photo(path, name=path.name)))
            save_edited(edited(scene, EDITS[word]), EDITS[word], like=path, folder=out)


def verdicts(samples: Path, cache_folder: Path, word: str, *, jobs: int) -> dict[str, str]:
    """Verdict of every jar, all photos edited alike; the readings are kept beside the photos.

    By its photos alone: what turned bad beside a jar is no merit of its own reading.
    """
    home = cache_folder / "shelf" / f"{word}-{edit_digest(word)}"
    photos = home / "photos"
    edit = partial(edit_jar, samples=samples, out=photos, word=word)
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        list(pool.map(edit, (*BAD, *CLEAN)))
    register, out = home / "jars.csv", home / "out"
    shutil.copy(samples / "jars.csv", register)
    score_folder(photos, out=out, register=register, jobs=jobs, publish=lambda _: None)
    by_photos = last_result(out, open_shelf(photos, register=register))
    assert by_photos is not None
    return {story.verdict.jar: story.verdict.verdict for story in by_photos.stories}


def report(samples: Path, cache_folder: Path, *, words: Sequence[str], jobs: int) -> str:
    """Edit by edit: every jar's verdict, and how many bad jars became ``go``."""
    rows, false_go = [], 0
    for word in words:
        said = verdicts(samples, cache_folder, word, jobs=jobs)
        wrong = [jar for jar in BAD if said.get(jar) == "go"]
        false_go += len(wrong)
        cells = [f"**{said[jar]}**" if jar in wrong else said.get(jar, NO_VERDICT)
                 for jar in (*BAD, *CLEAN)]  # fmt: skip
        rows.append((f"`{word}`", *cells, f"{len(wrong)}"))
        print(f"shelf {word}: {', '.join(wrong) or 'no false go'}", flush=True)
    head = ("edit", *(f"{jar}, {why}" for jar, why in BAD.items()),
            *(f"{jar}, clean" for jar in CLEAN), "false `go`")  # fmt: skip
    return f"False `go`: {false_go} of {len(BAD) * len(rows)}.\n\n{markdown(head, rows)}"
