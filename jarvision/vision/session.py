"""Trained networks, opened for ONNX Runtime."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from onnxruntime import InferenceSession


@cache
def open_network(package: str, file: str) -> InferenceSession:
    """Open the network that lies in a package, once."""
    return network_of((files(package) / file).read_bytes())


def network_of(data: bytes) -> InferenceSession:
    """Open a network in the form of ONNX.

    One thread, so that the answers are the same in a worker and out of it.
    """
    import onnxruntime

    onnxruntime.disable_telemetry_events()  # its builds for Windows would tell of being used
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.enable_cpu_mem_arena = False  # it keeps memory for each size of picture
    return onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])
