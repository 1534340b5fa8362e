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
from torch import Tensor

from .batches import Plan, Stock, allowed, draw_batch
from .contents_layers import FAMILIES
from .judging import judge
from .learning import Learner, NetPlan, cover_of, family_left_out

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
        self, plans: list[NetPlan], stock: Stock, plan: Plan, device: torch.device, seed: int
    ) -> None:
        self.stock, self.plan, self.device = stock, plan, device
        self.learners = [Learner(one, device, seed + k) for k, one in enumerate(plans)]
        self.left_out = family_left_out(self.learners)
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
            honest = self._honest(batch.x, batch.beneath)
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

    def _honest(self, x: Tensor, beneath: Tensor) -> Tensor:
        """Error of each wall's coverage by the net that never saw its family; -1 where none is."""
        errors = torch.full((len(x),), -1.0, device=x.device)
        if len(self.left_out) < len(FAMILIES):
            return errors
        for family, learner in self.left_out.items():
            mine = self.plan.of_family(family)
            told = cover_of(learner.look(x[mine]), beneath[mine])
            errors[mine] = (told.coverage - told.truth).abs()
        return errors

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
    plan = Plan(args.family, args.texture, args.painted)
    args.out.mkdir(parents=True, exist_ok=True)
    stock = Stock.empty(device, contents=args.room, photos=args.room, growth=2 * args.room,
                        painted=args.room)  # fmt: skip
    start = time.time()
    while not stock.ready() or time.time() - start < args.gather:
        if stock.take_in(args.bank) == 0:
            time.sleep(0.5)
    say(start, f"stock ready: {counts(stock)}")
    room = Classroom(planned(args.nets), stock, plan, device, args.seed)
    room.abreast = room.abreast and not args.in_turn
    room.record()
    say(start, "recorded")
    step, until = 0, args.until or time.time() + args.seconds
    first = time.time()
    while (now := time.time()) < until:
        room.set_rate((now - first) / (until - first), step)
        room.step()
        step += 1
        if step % 20 == 0 and device.type == "cuda":
            torch.cuda.synchronize()  # keeps the clock honest: steps are only queued
            stock.take_in(args.bank, most=1)
        if step % args.every == 0:
            losses = " ".join(f"{one.plan.name} {one.loss.item():.3f}" for one in room.learners)
            say(start, f"step {step} {counts(stock)} {losses}")
            room.save(args.out)
    say(start, f"end: step {step}")
    room.save(args.out)
    if args.judged:
        judged = Stock.empty(device, contents=480, photos=480, growth=960, painted=1)
        judged.take_in(args.judged)
        judge(room.learners, judged, out=args.out / "judged.npz", rounds=args.rounds)
        say(start, "judged")


def counts(stock: Stock) -> str:
    """How many layers of each source there are."""
    shelves = (*stock.families, stock.texture, stock.growth, stock.painted[0])
    return "/".join(str(int(shelf.count)) for shelf in shelves)


def say(start: float, words: str) -> None:
    """Print with the time."""
    print(f"{time.time() - start:.0f} s {words}", flush=True)


def main() -> None:
    """Parse the command line and train."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("bank", type=Path)
    parser.add_argument("--judged", type=Path, help="bank of layers that nothing is trained on")
    parser.add_argument("--nets", type=Path, required=True, help="JSON list of nets")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--until", type=float, help="the clock's time in seconds; instead")
    parser.add_argument("--gather", type=float, default=20.0, help="seconds before the first step")
    parser.add_argument("--room", type=int, default=1440, help="layers of each source at most")
    parser.add_argument("--family", type=int, default=5, help="walls of each family in a batch")
    parser.add_argument("--texture", type=int, default=8)
    parser.add_argument("--painted", type=int, default=10)
    parser.add_argument("--rounds", type=int, default=12, help="batches to judge by")
    parser.add_argument("--every", type=int, default=500)
    parser.add_argument("--in-turn", action="store_true", help="nets one after the other")
    parser.add_argument("--seed", type=int, default=1)
    train(parser.parse_args())


if __name__ == "__main__":
    main()
