"""Losses, and nets that learn from the same batches side by side."""

from __future__ import annotations

import copy
from dataclasses import dataclass
from pathlib import Path
from pickle import UnpicklingError

import torch
from torch import Tensor, nn
from torch.nn import functional

from .composed_walls import Batch
from .contents_layers import FAMILIES
from .tissue_nets import (
    CAPS,
    CLASS_COUNT,
    COVER,
    DOUBT,
    INPUTS,
    OPACITY,
    Kind,
    load_net,
    make_net,
    read_weights,
)
from .train import CAP_WEIGHT, CLASS_WEIGHTS, contents_of, is_covered
from .training_walls import IGNORED, UNJUDGED

MEMORY = 0.999  # of the mean weights, a step
DECAY = 1e-2
LEAST_DOUBT, MOST_DOUBT = -6.5, 0.0  # logarithm of the coverage's error


@dataclass(frozen=True)
class NetPlan:
    """One net: what it is, what it may not see, what it does without."""

    name: str
    kind: Kind
    left_out: tuple[int, ...] = ()
    textures: bool = True
    reference: bool = True
    start: Path | None = None
    rate: float = 2e-3

    @property
    def bits(self) -> int:
        """The families left out as a set of bits."""
        return sum(1 << family for family in self.left_out)


@dataclass(frozen=True)
class Cover:
    """What a net says of each wall's cover, ``(n,)``: coverage, truth, mean doubt, log error."""

    coverage: Tensor
    truth: Tensor
    doubt: Tensor
    log_error: Tensor


def cover_of(out: Tensor, beneath: Tensor) -> Cover:
    """Sum up the cover and the doubt over the contents."""
    there = contents_of(beneath)
    cells = there.sum(dim=(1, 2)).clamp(min=1.0)
    chance = torch.sigmoid(out[:, COVER])
    parts = (chance, is_covered(beneath), torch.minimum(chance, 1.0 - chance), out[:, DOUBT])
    means = [(part * there).sum(dim=(1, 2)) / cells for part in parts]
    return Cover(means[0], means[1], means[2], means[3].clamp(LEAST_DOUBT, MOST_DOUBT))


def loss_of(out: Tensor, batch: Batch, weights: Tensor, honest: Tensor | None) -> Tensor:
    """Cross entropy of classes, opacity, cover and caps; errors of coverage, and their forecast.

    ``honest`` is the error of each wall's coverage by a net that never saw its family, negative
    where there is none: the forecast is held against that, else against the net's own error.
    """
    entropy = functional.cross_entropy(
        out[:, :CLASS_COUNT], batch.seen, weight=weights, ignore_index=IGNORED
    )
    seen, there = contents_of(batch.seen), contents_of(batch.beneath)
    true = is_covered(batch.beneath)
    opacity = _entropy(out[:, OPACITY], batch.opacity, seen)
    cover = _entropy(out[:, COVER], true, there * (0.5 + 0.5 * seen))
    clear = ((batch.seen != IGNORED) & (batch.seen != UNJUDGED)).float()
    caps = _entropy(out[:, CAPS], batch.pins, clear, rare=CAP_WEIGHT)
    told = cover_of(out, batch.beneath)
    off = (told.coverage - told.truth).abs()
    error = off.detach() if honest is None else torch.where(honest >= 0.0, honest, off.detach())
    forecast = error * torch.exp(-told.log_error) + told.log_error  # Laplace's likelihood
    return (entropy + 0.3 * opacity + 0.9 * cover + 0.7 * off.mean() + 0.7 * caps
            + 0.03 * forecast.mean())  # fmt: skip


def _entropy(logit: Tensor, true: Tensor, worth: Tensor, *, rare: float = 1.0) -> Tensor:
    """Binary cross entropy, a mean over the places by their ``worth``."""
    each = functional.binary_cross_entropy_with_logits(
        logit, true, reduction="none", pos_weight=torch.full_like(logit[0, 0, 0], rare)
    )
    return (each * worth).sum() / worth.sum().clamp(min=1.0)


def class_weights(device: torch.device) -> Tensor:
    """Weight of each class in the loss."""
    weights = torch.ones(CLASS_COUNT, device=device)
    for kind, weight in CLASS_WEIGHTS.items():
        weights[int(kind)] = weight
    return weights


def without_reference(x: Tensor) -> Tensor:
    """The inputs as they are when nothing is known of the jar."""
    bare = x.clone()
    bare[:, INPUTS - 6 :] = 0.0
    return bare


class Learner:
    """One net in training, with its optimiser and its averaged weights."""

    def __init__(self, plan: NetPlan, device: torch.device, seed: int) -> None:
        torch.manual_seed(seed)
        net = make_net(plan.kind, plan.start)
        self.plan = plan
        self.net: nn.Module = net.to(device).to(memory_format=torch.channels_last)
        self.mean = copy.deepcopy(self.net).eval()
        on_card = device.type == "cuda"
        self.rate = torch.tensor(1e-6, device=device)
        self.optimiser = torch.optim.AdamW(
            self.net.parameters(), lr=self.rate, weight_decay=DECAY, capturable=on_card
        )
        self.weights = class_weights(device)
        self.loss = torch.zeros((), device=device)

    def step(self, batch: Batch, honest: Tensor | None) -> None:
        """One step on a batch."""
        x = batch.x if self.plan.reference else without_reference(batch.x)
        with autocast(x):
            out = self.net(x.contiguous(memory_format=torch.channels_last))
        loss = loss_of(out.float(), batch, self.weights, honest)
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(self.net.parameters(), 5.0, foreach=True)
        self.optimiser.step()
        with torch.no_grad():
            self.loss.copy_(loss)
            new, old = ([v for v in net.state_dict().values() if v.is_floating_point()]
                        for net in (self.net, self.mean))  # fmt: skip
            torch._foreach_lerp_(old, new, 1.0 - MEMORY)

    @torch.no_grad()
    def look(self, x: Tensor) -> Tensor:
        """What the averaged net says."""
        with autocast(x):
            out = self.mean(x.contiguous(memory_format=torch.channels_last))
        return out.float()  # type: ignore[no-any-return]

    def save(self, path: Path) -> None:
        """Write the averaged weights as half floats."""
        torch.save({k: v.half().cpu() for k, v in self.mean.state_dict().items()}, path)


def autocast(x: Tensor) -> torch.autocast:
    """Half floats on a card; they are slower elsewhere."""
    return torch.autocast(
        "cuda", dtype=torch.bfloat16, enabled=x.is_cuda, cache_enabled=False
    )  # fmt: skip


class Judges:
    """For each family a net that never saw it, as last saved by a training that goes on beside.

    ``folder`` holds ``without_0.pt`` and so on; which are there is read again now and then.
    """

    def __init__(self, folder: Path, device: torch.device) -> None:
        self.folder = folder
        nets = [self._first(family).to(device).eval() for family in range(len(FAMILIES))]
        self.nets = [net.to(memory_format=torch.channels_last) for net in nets]
        self.renew()

    def _path(self, family: int) -> Path:
        return self.folder / f"without_{family}.pt"

    def _first(self, family: int) -> nn.Module:
        """A net of the kind that lies there; where none does yet an untrained one."""
        path = self._path(family)
        return load_net(path) if path.exists() else make_net("pretrained")

    def renew(self) -> None:
        """Take the weights that are there now; a file that is half written is left for later."""
        for family, net in enumerate(self.nets):
            try:
                weights = read_weights(self._path(family))
            except (OSError, RuntimeError, EOFError, UnpicklingError):
                continue
            net.load_state_dict(weights)

    @torch.no_grad()
    def errors(self, x: Tensor, beneath: Tensor, of_family: list[list[slice]]) -> Tensor:
        """Error of each wall's coverage by the net that never saw its family, else -1."""
        errors = torch.full((len(x),), -1.0, device=x.device)
        for net, places in zip(self.nets, of_family, strict=True):
            inputs = torch.cat([x[place] for place in places])
            with autocast(x):
                out = net(inputs.contiguous(memory_format=torch.channels_last)).float()
            told = cover_of(out, torch.cat([beneath[place] for place in places]))
            off = (told.coverage - told.truth).abs()
            for place, part in zip(
                places, off.split([place.stop - place.start for place in places]), strict=True
            ):
                errors[place] = part
        return errors
