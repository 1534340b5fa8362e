"""Where the photos are: a folder of this machine, or one behind an address such as ``s3://``.

A far folder is read through fsspec. What lies beside the photos (the register, settings, the card's
colours) is small and is copied here first, so that everything else finds it in a folder.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import Any, Final, Protocol

from jarvision.base.errors import UsageError
from jarvision.base.text import printable
from jarvision.register.photo_names import PHOTO_SUFFIXES
from jarvision.run.jobs import Parcel
from jarvision.run.photo_files import find_photos, is_output_folder
from jarvision.run.stamps import UNSURE, Stamp, stamp_of
from jarvision.vision.calibration.value_files import VALUES_FOLDER

BESIDE_SUFFIXES: Final = frozenset({".csv", ".toml", ".txt", ".cgats", ".cgt"})
MAX_BESIDE_BYTES: Final = 5_000_000
"""What lies beside the photos and is copied; larger files are none of ours."""

_MOST_DEEP: Final = 2  # the folder itself, and those right under it
_HERE_ALONE: Final = frozenset({"memory"})
"""File systems that other processes do not see."""


class PhotoFolder(Protocol):
    """A folder of photos.

    Attributes
    ----------
    root
        A folder of this machine that holds what lies beside the photos; photos are named by
        paths under it, which in a far folder do not exist.
    label
        What the folder is called in the report.
    """

    @property
    def root(self) -> Path:
        """See above."""

    @property
    def label(self) -> str:
        """See above."""

    def photos(self, *, out: Path, warn: Callable[[str], None]) -> list[Path]:
        """All photos, sorted; ``warn`` takes what could not be looked into."""

    def stamp(self, path: Path) -> Stamp | None:
        """What the folder says of a photo without opening it; None when it is no file."""

    def parcel(self, path: Path) -> Parcel | None:
        """What a worker needs that sees only ``path``; None when that is enough."""


@contextmanager
def open_folder(address: str | Path) -> Iterator[PhotoFolder]:
    """Open a folder by its path or its address.

    Raises
    ------
    UsageError
        No such folder, or an address that cannot be understood.
    """
    text = str(address)
    if text.startswith("file://"):
        from urllib.parse import urlsplit
        from urllib.request import url2pathname

        address = Path(url2pathname(urlsplit(text).path))
    elif "://" in text and isinstance(address, str):
        with TemporaryDirectory(prefix="jarvision-") as place:
            with _told(text):
                far = _far_folder(text, Path(place))
            yield far
        return
    yield NearFolder(Path(address))


class NearFolder:
    """A folder of this machine, or of a share that is mounted here."""

    def __init__(self, root: Path) -> None:
        if not root.is_dir():
            raise UsageError(
                f"{printable(str(root))} is no folder", "Give the folder of the photos."
            )
        self.root = root
        self.label = root.resolve().name

    def photos(self, *, out: Path, warn: Callable[[str], None]) -> list[Path]:
        """All photos but those of the card alone."""
        found = find_photos(
            self.root, out=out, on_error=lambda error: warn(f"folder not read: {error.filename}")
        )
        return [path for path in found if path.relative_to(self.root).parts[0] != VALUES_FOLDER]

    def stamp(self, path: Path) -> Stamp | None:
        """Size, time and number of the file."""
        return stamp_of(path)

    def parcel(self, path: Path) -> Parcel | None:
        """None: workers of this machine see the photo."""
        return None


class FarFolder:
    """A folder behind an address, as it was when it was listed."""

    def __init__(self, address: str, files: Any, listing: dict[str, dict[str, Any]], root: Path):
        self.root = root
        self.label = printable(PurePosixPath(address.split("://", 1)[1]).name or address)
        self._files = files
        self._listing = listing

    def photos(self, *, out: Path, warn: Callable[[str], None]) -> list[Path]:
        """All photos; hidden files and the output folders of earlier runs are left out."""
        held: dict[PurePosixPath, set[str]] = {}
        for name in self._listing:
            held.setdefault(PurePosixPath(name).parent, set()).add(PurePosixPath(name).name)
        outputs = {place for place, names in held.items() if is_output_folder(names)}
        found = []
        for name in sorted(self._listing):
            path = PurePosixPath(name)
            if path.suffix.lower() not in PHOTO_SUFFIXES or path.parts[0] == VALUES_FOLDER:
                continue
            if any(part.startswith(".") for part in path.parts) or outputs & set(path.parents):
                continue
            found.append(self.root / name)
        return found

    def stamp(self, path: Path) -> Stamp | None:
        """Size, time and tag of the file, as far as its file system tells them."""
        facts = self._listing.get(path.relative_to(self.root).as_posix())
        if facts is None:
            return None
        tag = str(facts.get("ETag") or facts.get("ino") or "")
        when = _time_ns(facts)
        return Stamp(int(facts.get("size") or 0), when if when or tag else UNSURE, tag)

    def parcel(self, path: Path) -> Parcel | None:
        """Address of the photo; its content where no other process could fetch it."""
        name = path.relative_to(self.root).as_posix()
        facts, stamp = self._listing[name], self.stamp(path)
        assert stamp is not None
        parcel = Parcel(stamp, _time_ns(facts), url=self._files.unstrip_protocol(facts["name"]))
        protocols = self._files.protocol
        if _HERE_ALONE & {protocols, *(protocols if isinstance(protocols, tuple) else ())}:
            return Parcel(stamp, parcel.mtime_ns, content=parcel.open())
        return parcel


def _far_folder(address: str, root: Path) -> FarFolder:
    import fsspec

    files, top = fsspec.core.url_to_fs(address)
    if not files.isdir(top):
        raise UsageError(f"{printable(address)} is no folder", "Give the folder of the photos.")
    listing = {}
    for path, facts in files.find(top, detail=True).items():
        name = path[len(top) :].strip("/")
        if _is_plain(name):
            listing[name] = facts
    for name, facts in listing.items():
        near = PurePosixPath(name)
        small = int(facts.get("size") or 0) <= MAX_BESIDE_BYTES
        if near.suffix.lower() in BESIDE_SUFFIXES and len(near.parts) <= _MOST_DEEP and small:
            (root / near).parent.mkdir(exist_ok=True)
            (root / near).write_bytes(files.cat_file(facts["name"]))
    return FarFolder(address, files, listing, root)


def _is_plain(name: str) -> bool:
    """Tell a name that stays under its folder when it becomes a path; keys may hold anything."""
    parts = name.split("/")
    return all(part not in ("", ".", "..") for part in parts) and not set(name) & {"\\", "\0"}


def _time_ns(facts: dict[str, Any]) -> int:
    """Time of a file; each file system of fsspec has its own word for it."""
    for word in ("mtime", "LastModified", "last_modified", "updated", "created"):
        found = facts.get(word)
        if isinstance(found, datetime):
            return int(found.timestamp() * 1e9)
        if isinstance(found, (int, float)):
            return int(found * 1e9)
    return 0


@contextmanager
def _told(address: str) -> Iterator[None]:
    """One sentence for what file systems behind an address raise while they are opened."""
    try:
        yield
    except ImportError as error:
        raise UsageError(
            f"{printable(address)} cannot be read here ({error})",
            "Install fsspec and the package that it names: pip install 'jarvision[cluster]'.",
        ) from error
    except (OSError, ValueError) as error:
        raise UsageError(
            f"{printable(address)} cannot be read ({error})",
            "Check the address, the network and the rights.",
        ) from error
