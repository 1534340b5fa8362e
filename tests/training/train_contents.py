"""Train tissue networks on composed walls: ``python -m tests.training.train_contents BANK``.

``BANK`` is being filled by :mod:`tests.training.bank` while this runs. Several nets learn from the
same batches: the one that is kept, and for each family of contents one that never sees it. What the
latter say of that family tells how far the kept one can be trusted with contents that nobody
foresaw; and its own forecast of its error learns from them. Seven nets take about 18 minutes on one
data-centre graphics card, while 16 processor cores fill the bank.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np
import torch

from .batches import Plan, Room, Stock, allowed, draw_batch
from .learning import Judges, Learner, NetPlan

WARM_UP = 300  # steps


def planned(path: Path) -> list[NetPlan]:
    """The nets that a JSON file names."""
    plans = []
    for words in json.loads(path.read_text()):
        words["left_out"] = tuple(words.get("left_out", ()))
        words["start"] = Path(words["start"]) if words.get("start") else None
        plans.append(NetPlan(**words))
    return plans


class Classroom:
    """Nets that learn from the same batches, their step recorded once and replayed."""

    def __init__(
        self, plans: list[NetPlan], stock: Stock, plan: Plan, judges: Judges, *, seed: int
    ) -> None:
        self.stock, self.plan, self.judges = stock, plan, judges
        self.device = device = stock.texture.maps.device
        self.learners = [Learner(one, device, seed + k) for k, one in enumerate(plans)]
        self.recorded: torch.cuda.CUDAGraph | None = None
        self.abreast = device.type == "cuda"

    def step(self) -> None:
        """One step of every net."""
        if self.recorded is None:
            self._step()
        else:
            self.recorded.replay()

    def _step(self) -> None:
        with torch.no_grad():
            batch = draw_batch(self.stock, self.plan)
            honest = self.judges.errors(batch.x, batch.beneath, self.plan.by_family())
        streams = []
        for learner in self.learners:
            with torch.no_grad():
                index = allowed(batch, self.plan, left_out=learner.plan.bits,
                                textures=learner.plan.textures)  # fmt: skip
            if not self.abreast:
                learner.step(batch.pick(index), honest[index])
                continue
            aside = torch.cuda.Stream()
            aside.wait_stream(torch.cuda.current_stream())
            with torch.cuda.stream(aside):
                learner.step(batch.pick(index), honest[index])
            streams.append(aside)
        for aside in streams:
            torch.cuda.current_stream().wait_stream(aside)

    def record(self) -> None:
        """Record a step on a graphics card."""
        if self.device.type != "cuda":
            return
        torch.backends.cudnn.benchmark = True
        aside = torch.cuda.Stream()
        aside.wait_stream(torch.cuda.current_stream())
        with torch.cuda.stream(aside):
            for _ in range(4):
                self._step()
        torch.cuda.current_stream().wait_stream(aside)
        torch.cuda.synchronize()
        graph = torch.cuda.CUDAGraph()
        for learner in self.learners:
            learner.optimiser.zero_grad(set_to_none=True)
        with torch.cuda.graph(graph):
            self._step()
        self.recorded = graph

    def set_rate(self, share: float, step: int) -> None:
        """Learning rate after a share of the time."""
        fall = 0.5 * (1.0 + np.cos(np.pi * min(1.0, share))) * min(1.0, step / WARM_UP)
        for learner in self.learners:
            learner.rate.fill_(learner.plan.rate * fall + 1e-6)

    def save(self, out: Path) -> None:
        """Write all averaged nets."""
        for learner in self.learners:
            learner.save(out / f"{learner.plan.name}.pt")


def train(args: argparse.Namespace) -> None:
    """Train until the clock says so."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    torch.manual_seed(args.seed)
    plan = Plan(args.family, args.texture, args.rendered, args.painted)
    args.out.mkdir(parents=True, exist_ok=True)
    stock = Stock.empty(
        device,
        Room(args.room, args.room, 2 * args.room, args.room_rendered, args.room_rendered),
    )
    start = time.time()
    while not stock.ready(args.least) or time.time() - start < args.gather:
        if stock.take_in(args.bank) == 0:
            time.sleep(0.5)
    say(start, f"stock ready: {stock.counts()}")
    room = Classroom(planned(args.nets), stock, plan, Judges(args.judges, device), seed=args.seed)
    room.abreast = room.abreast and not args.in_turn
    room.record()
    say(start, "recorded")
    step, first = 0, time.time()
    while (now := time.time()) < (until := float(args.until.read_text())):
        room.set_rate((now - first) / (until - first), step)
        room.step()
        step += 1
        if step % 20 == 0:
            if device.type == "cuda":
                torch.cuda.synchronize()  # keeps the clock honest: steps are only queued
            stock.take_in(args.bank, most=args.take)
        if step % args.every == 0:
            losses = " ".join(f"{one.plan.name} {one.loss.item():.3f}" for one in room.learners)
            say(start, f"step {step} {stock.counts()} {losses}")
            room.save(args.out)
            room.judges.renew()
    say(start, f"end: step {step}")
    room.save(args.out)


def say(start: float, words: str) -> None:
    """Print with the time."""
    print(f"{time.time() - start:.0f} s {words}", flush=True)


def main() -> None:
    """Parse the command line and train."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("bank", type=Path)
    parser.add_argument("--nets", type=Path, required=True, help="JSON list of nets")
    parser.add_argument(
        "--judges", type=Path, required=True, help="nets that went without a family"
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--until", type=Path, required=True, help="file: when to end, clock's time")
    parser.add_argument("--gather", type=float, default=20.0, help="seconds before the first step")
    parser.add_argument("--least", type=int, default=1, help="of each source before the first step")
    parser.add_argument("--room", type=int, default=1440, help="layers of each source at most")
    parser.add_argument("--room-rendered", type=int, default=600, help="of a family at most")
    parser.add_argument("--family", type=int, default=5, help="walls of each family in a batch")
    parser.add_argument("--texture", type=int, default=8)
    parser.add_argument("--rendered", type=int, default=3, help="of each family in a batch")
    parser.add_argument("--painted", type=int, default=4)
    parser.add_argument("--take", type=int, default=2, help="chunks to take in after 20 steps")
    parser.add_argument("--every", type=int, default=500)
    parser.add_argument("--in-turn", action="store_true", help="nets one after the other")
    parser.add_argument("--seed", type=int, default=1)
    train(parser.parse_args())


if __name__ == "__main__":
    main()
