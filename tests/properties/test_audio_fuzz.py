"""Damaged sound files: a clear error or an answer, never a crash or a flood of memory."""

import resource

import numpy as np
import pytest
from tests.sound_files import LOSSLESS, LOSSY, PHONE, encoded, phone

from crowlight.errors import InputError
from crowlight.files.audio import BLOCK_VALUES, open_sound

SEEDS = [*[encoded(*kind) for kind in (*LOSSLESS, *LOSSY)], *[phone(*kind) for kind in PHONE]]


def damaged(rng):
    """Damage one file: bytes changed, cut, mixed with another, or nothing but noise."""
    data = bytearray(SEEDS[rng.integers(len(SEEDS))])
    way = rng.integers(6)
    if way == 0:
        return rng.bytes(int(rng.integers(0, 3_000)))
    if way == 1:  # a good beginning, then noise
        keep = int(rng.integers(4, 200))
        return bytes(data[:keep]) + rng.bytes(int(rng.integers(0, 20_000)))
    if way == 2:
        other = SEEDS[rng.integers(len(SEEDS))]
        return bytes(data[: rng.integers(len(data))]) + other[rng.integers(len(other)) :]
    reach = min(len(data), 120) if way in (3, 4) else len(data)
    for _ in range(int(rng.integers(1, 12))):
        data[rng.integers(reach)] = rng.integers(256)
    if way == 4:
        del data[rng.integers(len(data)) :]
    return bytes(data)


def try_to_read(data):
    """Read to the end or to 20 million values; True if there was sound."""
    have = 0
    try:
        with open_sound(data) as reader:
            for block in reader.blocks(seconds=1.0):
                assert block.ndim == 2
                assert block.shape[1] == reader.info.channels
                assert block.size <= BLOCK_VALUES
                have += block.size
                if have > 20_000_000:
                    break
    except InputError:
        return False
    return have > 0


def run(count, seed):
    rng = np.random.default_rng(seed)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    read = sum(try_to_read(damaged(rng)) for _ in range(count))
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    assert grown < 200.0, f"memory grew by {grown:.0f} MB"
    return read


def test_300_damaged_files():
    # both outcomes must occur, or the damage is too weak or too strong to try anything
    assert 50 <= run(300, 1) <= 290


@pytest.mark.soak
def test_5000_damaged_files():
    assert 800 <= run(5_000, 2) <= 4_800
