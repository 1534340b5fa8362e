"""Train the networks for strange contents anew: ``python -m tests.training.remake OUT``.

All that it takes runs side by side until the time is up: layers and painted walls are drawn, jars
are rendered, their photos become walls, the two nets that are kept and the six that each go without
a family learn from what is there. With two graphics cards the six have one to themselves. What was
learned lies in ``OUT/kept`` and ``OUT/without``, what was said in ``OUT/logs``.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .contents_layers import FAMILIES
from .side_by_side import Work, add_options, end_of, module, run

COUNTS = ("--contents", "2400", "--photos", "1440", "--growth", "4800", "--painted", "480")
EFFORT = ("--width", "882", "--spp", "6", "--spp-around", "2")
RENDERED = 100_000  # more than there is time for
SUITES = ("hard", "half-grown", "training")
SUITE_SHARE = 8  # one process that renders in so many photographs jars of tests/scenes
DRAWN = "drawn"
PARTS = ("layers", "photos", "walls", "kept", "without")


@dataclass(frozen=True)
class Place:
    """Where it runs, from what, and how.

    Attributes
    ----------
    out, textures, starts
        Folder of all that is made; packed textures; folder of weights to begin with.
    first
        First seed of what is drawn.
    until
        When it ends, the clock's time in seconds.
    cores, cards
        Processor cores and graphics cards to use.
    variant
        Of the renderer.
    room
        Layers of each family that a training has room for; a fifth as many rendered walls.
    """

    out: Path
    textures: Path
    starts: Path
    first: int
    until: float
    cores: int
    cards: int
    variant: str
    room: int


def works(place: Place, parts: Sequence[str]) -> Iterator[Work]:
    """The processes of some parts."""
    makers = {"layers": _layers, "photos": _photos, "walls": _walls, "kept": _kept,
              "without": _without}  # fmt: skip
    for part in parts:
        yield from makers[part](place)


def _layers(place: Place) -> Iterator[Work]:
    yield Work("layers", module(
        "tests.training.bank", place.out / "bank", "--textures", place.textures,
        "--first", place.first, *COUNTS, "--jobs", max(1, place.cores // 2),
    ))  # fmt: skip


def _photos(place: Place) -> Iterator[Work]:
    """Every core has a process of its own; layers go first where both want it."""
    sets = [SUITES[core // SUITE_SHARE % len(SUITES)] if core % SUITE_SHARE == SUITE_SHARE - 1
            else DRAWN for core in range(place.cores)]  # fmt: skip
    for core, name in enumerate(sets):
        jars = _drawn(place) if name == DRAWN else _of_suite(place, name)
        share = ("--shard", f"{sets[:core].count(name)}/{sets.count(name)}", "--core", str(core))
        command = ("nice", *jars, *share, *EFFORT, "--variant", place.variant)
        yield Work(f"photos_{core}", command, core % place.cards if place.cards else None)


def _drawn(place: Place) -> tuple[str, ...]:
    return module("tests.training.rendered_jars", place.out / "photos" / DRAWN, "--count", RENDERED,
                "--first", place.first, "--textures", place.textures)  # fmt: skip


def _of_suite(place: Place, name: str) -> tuple[str, ...]:
    return module("tests.scenes.bulk", name, "--out", place.out / "photos" / name)


def _walls(place: Place) -> Iterator[Work]:
    yield Work("walls", module("tests.training.rendered_bank", place.out / "photos",
                             place.out / "bank", "--until", place.until, "--jobs",
                             max(1, place.cores // 12)))  # fmt: skip


def _kept(place: Place) -> Iterator[Work]:
    nets = [{"name": "all", "kind": "plain", "start": str(place.starts / "plain.pt")},
            {"name": "pretrained", "kind": "pretrained",
             "start": str(place.starts / "pretrained.pt")}]  # fmt: skip
    yield Work("kept", _training(place, "kept", nets), 0 if place.cards else None)


def _without(place: Place) -> Iterator[Work]:
    nets = [
        {"name": f"without_{family}", "kind": "pretrained", "left_out": [family],
         "start": str(place.starts / "photographs.pt")}
        for family in range(len(FAMILIES))
    ]  # fmt: skip
    yield Work(
        "without", _training(place, "without", nets), place.cards - 1 if place.cards else None
    )


def _training(place: Place, name: str, nets: list[dict[str, Any]]) -> tuple[str, ...]:
    plan, until = place.out / f"{name}.json", place.out / "until"
    plan.write_text(json.dumps(nets))
    until.write_text(str(place.until))
    return module(
        "tests.training.train_contents", place.out / "bank", "--nets", plan, "--judges",
        place.out / "without", "--out", place.out / name, "--until", until, "--room", place.room,
        "--room-rendered", place.room // 5, "--rendered", 5, "--take", 4, "--gather", 1,
    )  # fmt: skip


def main() -> None:
    """Parse the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    add_options(parser, first=20_000)
    parser.add_argument(
        "--textures", type=Path, required=True, help="as tests.training.textures packs"
    )
    parser.add_argument(
        "--starts", type=Path, required=True,
        help="folder: plain.pt, pretrained.pt (import_net), photographs.pt (card.toml says which)",
    )  # fmt: skip
    parser.add_argument("--cards", type=int, default=0, help="graphics cards")
    parser.add_argument(
        "--room", type=int, default=4000, help="layers of each family, kept at hand"
    )
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=PARTS)
    args = parser.parse_args()
    until = end_of(args)
    place = Place(args.out, args.textures, args.starts, args.first, until, args.cores, args.cards,
                  args.variant, args.room)  # fmt: skip
    for folder in ("bank", "kept", "without"):
        (args.out / folder).mkdir(parents=True, exist_ok=True)
    raise SystemExit(run(works(place, args.parts), until=until, logs=args.out / "logs"))


if __name__ == "__main__":
    main()
