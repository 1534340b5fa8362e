"""Photos that show another jar than they were taken for: moved to it, taken away, put back.

A phone names a photo by its digest alone; its place is what the store says. Nothing is deleted,
and each change can be undone by another one. All of it is done at the desk.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import PurePosixPath

from jarvision.app.serve.arrivals import Arrival
from jarvision.app.serve.keeper import Keeper, ShelfNow
from jarvision.app.serve.naming import name_for_other_jar
from jarvision.base.errors import UsageError
from jarvision.base.text import printable
from jarvision.records import Reading
from jarvision.register.photo_jars import add_photo_jars
from jarvision.register.photo_names import read_name
from jarvision.run.aside import AsidePhoto, photos_aside, put_back, take_away
from jarvision.run.moves import move_whole
from jarvision.run.one import OpenShelf, ScoredOne
from jarvision.run.stamps import content_of

_GONE = "This photo is not in the folder any more"
_ANEW = "Open the jar's page anew."


@dataclass(frozen=True)
class FoundPhoto:
    """A photo of the shelf, or one that was taken away.

    Attributes
    ----------
    name
        Under the folder of photos, as it is or was.
    reading
        None for one that was taken away.
    """

    sha: str
    name: str
    jar: str
    reading: Reading | None
    aside: AsidePhoto | None


def find_photo(now: ShelfNow, sha: str) -> FoundPhoto | None:
    """Find a photo by its digest; None where there is none."""
    names = {name for name, content in now.contents.items() if content == sha}
    for reading in now.alive.readings:
        if reading.photo in names:
            return FoundPhoto(sha, reading.photo, reading.jar, reading, None)
    for one in photos_aside(now.shelf.folder):
        if one.content == sha:
            return FoundPhoto(sha, one.photo, now.shelf.past.now(one.jar), None, one)
    return None


def move_to(keeper: Keeper, sha: str, jar: str) -> Arrival:
    """Have a photo show another jar, and tell the stories of both anew.

    A name that the server made is made anew; the grower's own stays, and photo_jars.csv tells.

    Raises
    ------
    UsageError
        It is not there any more, or is of that jar already.
    NotWritableError
        The folder cannot be written.
    """
    shelf = keeper.open()
    with keeper.hold(shelf) as held:
        name, before = _place_of(keeper, held, sha)
        if before == jar:
            raise UsageError(f"This photo is of {printable(jar)} already", "Pick another jar.")
        fresh = name_for_other_jar(name, jar, sha)
        if fresh != name and (keeper.folder / fresh).exists():
            raise UsageError(f"There is another photo called {printable(fresh)}", _ANEW)
        # first: a photo in the folder without its jar would be asked for by nobody
        told = read_name(fresh, shelf.photo_jars.get(fresh, "")).jar == jar
        if not told:
            add_photo_jars(keeper.folder, {fresh: jar})
        opened = held if told else replace(held, shelf=keeper.open())
        assert keeper.by_photos is not None
        if fresh != name:
            move_whole(keeper.folder / name, keeper.folder / fresh)
            keeper.contents = {n: c for n, c in keeper.contents.items() if n != name}
            keeper.told(opened.shelf, opened.drop(name, keeper.by_photos))
        scored = keeper.score(opened, fresh, sha)
        keeper.told(opened.shelf, opened.retell(before, keeper.by_photos))
    return _noted(keeper, fresh, sha, scored, was=before)


def set_aside(keeper: Keeper, sha: str) -> AsidePhoto:
    """Take a photo away, and tell its jar's story without it.

    Raises
    ------
    UsageError
        It is not there any more.
    NotWritableError
        The folder cannot be written.
    """
    shelf = keeper.open()
    with keeper.hold(shelf) as opened:
        name, jar = _place_of(keeper, opened, sha)
        one = take_away(keeper.folder, name, jar=jar, content=sha, now=datetime.now())
        assert keeper.by_photos is not None
        keeper.contents = {n: c for n, c in keeper.contents.items() if n != name}
        keeper.told(shelf, opened.drop(name, keeper.by_photos))
    known = keeper.arrivals.get(sha)
    if known is not None:
        keeper.arrivals.forget(known)
    return one


def bring_back(keeper: Keeper, sha: str) -> Arrival:
    """Put a photo back that was taken away, and tell its jar's story with it.

    Raises
    ------
    UsageError
        It is not among those that were taken away, or its place is taken.
    NotWritableError
        The folder cannot be written.
    """
    one = next((one for one in photos_aside(keeper.folder) if one.content == sha), None)
    if one is None:
        raise UsageError("This photo is not among those that were taken away", _ANEW)
    with keeper.hold(keeper.open()) as opened:
        twin = opened.store.photo_with(sha)
        if twin is not None and (keeper.folder / twin).is_file():
            raise UsageError(
                f"The same photo is on the shelf already, as {printable(twin)}",
                "It counts once; the one that was taken away may stay there.",
            )
        name = put_back(keeper.folder, one)
        scored = keeper.score(opened, name, sha)
    return _noted(keeper, name, sha, scored)


def _place_of(keeper: Keeper, opened: OpenShelf, sha: str) -> tuple[str, str]:
    """Name and jar of a photo of the folder that still is the one that was read."""
    name = opened.store.photo_with(sha)
    if name is None or content_of(keeper.folder / name) != sha:
        raise UsageError(_GONE, _ANEW)
    assert keeper.by_photos is not None
    jar = next((r.jar for r in keeper.by_photos.readings if r.photo == name), "")
    return name, jar


def _noted(keeper: Keeper, name: str, sha: str, scored: ScoredOne, *, was: str = "") -> Arrival:
    """Remember a photo as one that came in and has its place, so that its answer is shown."""
    return keeper.arrivals.note(
        Arrival(
            sha, PurePosixPath(name).suffix.lower(), jar=scored.reading.jar, state="placed",
            reading=scored.reading, story=scored.story, was=was,
        )
    )  # fmt: skip
