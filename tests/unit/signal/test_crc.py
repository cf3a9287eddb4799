"""Checks and distances: experiments against exact counts, and exact counts against brute force."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from lessonkit.signal.crc import (
    CRC_CATALOGUE,
    FRAME_CRC,
    Code,
    OnesComplementSum,
    Parity,
    Tally,
    crc,
    try_bursts,
    try_flips,
    try_noise,
)
from lessonkit.signal.distance import (
    hamming_distance,
    longest_data_bits,
    rank_polynomials,
    syndromes,
    undetected_bursts,
    undetected_patterns,
)

CODES: list[Code] = [
    Parity(), Parity(odd=True), Parity(per_byte=True), OnesComplementSum(8), OnesComplementSum(16),
    FRAME_CRC, crc("CRC-8/SMBUS"), crc("CRC-16/MODBUS"), crc("CRC-16/IBM-3740"),
]  # fmt: skip


@pytest.mark.parametrize("code", CODES, ids=lambda code: code.name)
def test_one_wrong_bit_is_always_caught(code: Code) -> None:
    """No check lets a single wrong bit through."""
    tally = try_flips(code, 1, 3000, np.random.default_rng(1))
    assert tally == Tally(code.name, 3000, 0)


def test_what_slips_through_two_wrong_bits() -> None:
    """Two wrong bits fool a parity bit always, a sum now and then, our CRC never."""
    rng = np.random.default_rng(2)
    assert try_flips(Parity(), 2, 2000, rng).share == 1.0
    assert 0.02 < try_flips(OnesComplementSum(8), 2, 20_000, rng).share < 0.10
    assert try_flips(FRAME_CRC, 2, 20_000, rng).slipped == 0
    assert try_flips(FRAME_CRC, 3, 20_000, rng).slipped == 0


def test_four_wrong_bits_slip_through_as_often_as_counted() -> None:
    """The experiment agrees with the exact number of patterns of four, within four sigmas."""
    tries = 200_000
    exact = undetected_patterns(FRAME_CRC.full_poly, 24, 4) / len(list(combinations(range(32), 4)))
    tally = try_flips(FRAME_CRC, 4, tries, np.random.default_rng(3))
    assert tally.slipped == pytest.approx(exact * tries, abs=4 * (exact * tries) ** 0.5)
    assert tally.slipped > 1000


def test_burst_experiment_agrees_with_the_count() -> None:
    """Bursts to eight bits never, of nine bits one in 128: counted and tried."""
    rng = np.random.default_rng(4)
    for length in range(1, 9):
        assert try_bursts(FRAME_CRC, length, 3000, rng).slipped == 0
    nine = try_bursts(FRAME_CRC, 9, 100_000, rng).share
    assert nine == pytest.approx(1 / 128, rel=0.15)
    assert try_bursts(FRAME_CRC, 20, 100_000, rng).share == pytest.approx(1 / 256, rel=0.2)


def test_bits_must_travel_in_the_codes_order() -> None:
    """On a start-stop line the unreflected CRC lets bursts of five bits through; ours lets none."""
    assert undetected_bursts(0x12F, 24, 5, low_bit_first_line=True) == (3, 224)
    assert undetected_bursts(0x12F, 24, 5) == (0, 224)
    # The same seen by trying, with crc("CRC-8/AUTOSAR") on a line that turns each byte round.
    code = crc("CRC-8/AUTOSAR")
    word = np.frombuffer(b"\x01\x05\x07", dtype=np.uint8)
    sent = np.append(word, code.of(word.tobytes())).astype(np.uint8)
    line = np.unpackbits(sent, bitorder="little")
    fooled = 0
    for begin in range(len(line) - 4):
        for inner in range(8):
            got = line.copy()
            got[begin : begin + 5] ^= np.array([1, inner & 1, inner >> 1 & 1, inner >> 2, 1], dtype=np.uint8)
            data = np.packbits(got, bitorder="little").tobytes()
            fooled += code.of(data[:3]) == data[3]
    assert fooled == 3


def test_noise_experiment() -> None:
    """No noise damages nothing; at half chance everything is noise and a CRC-8 passes one in 256."""
    rng = np.random.default_rng(5)
    assert try_noise(FRAME_CRC, 0.0, 1000, rng) == Tally(FRAME_CRC.name, 0, 0)
    assert try_noise(FRAME_CRC, 0.0, 1000, rng).share == 0.0
    assert try_noise(FRAME_CRC, 0.5, 200_000, rng).share == pytest.approx(1 / 256, rel=0.15)


def test_experiments_repeat_with_their_seed() -> None:
    """The same seed counts the same."""
    one, two = (try_flips(OnesComplementSum(8), 2, 5000, np.random.default_rng(6)) for _ in range(2))
    assert one == two


@pytest.mark.parametrize("full", [0x107, 0x12F, 0x14D, 0x1D7, 0x139])
@pytest.mark.parametrize("data_bits", [3, 8, 14])
def test_distance_against_brute_force(full: int, data_bits: int) -> None:
    """The quick way finds what trying every pattern of wrong bits finds."""
    bits = data_bits + 8
    changes = syndromes(full, bits)

    def escapes(flips: int) -> int:
        return sum(1 for chosen in combinations(changes, flips) if not _xor(chosen))

    counts = {flips: escapes(flips) for flips in range(1, 6)}
    found = hamming_distance(full, data_bits)
    assert all(counts[flips] == 0 for flips in counts if flips < found)
    assert found > 5 or counts[found] > 0
    for flips, count in counts.items():
        assert undetected_patterns(full, data_bits, flips) == count


def _xor(values: tuple[int, ...]) -> int:
    total = 0
    for value in values:
        total ^= value
    return total


def test_longest_words_are_in_order() -> None:
    """Less distance lasts longer, and a mirrored polynomial does equally well."""
    for full in (0x12F, 0x14D, 0x1D7):
        mirrored = int(f"{full:09b}"[::-1], 2)
        lengths = [longest_data_bits(full, d) for d in (2, 3, 4, 5, 6)]
        assert lengths == sorted(lengths, reverse=True)
        assert lengths == [longest_data_bits(mirrored, d) for d in (2, 3, 4, 5, 6)]


def test_ranking_orders_as_it_says() -> None:
    """Distance first, then escapes, then room; the best for one byte is one that reaches distance 5."""
    ranked = rank_polynomials(24)
    keys = [(-one.distance, one.escapes, -one.longest) for one in ranked]
    assert keys == sorted(keys)
    assert len(ranked) == 128
    assert rank_polynomials(8)[0].distance == 5
    assert {one.koopman for one in rank_polynomials(8) if one.distance == 5} == {0xEB, 0x9C}


def test_many_at_once_is_one_by_one() -> None:
    """An array of words gives what each word gives alone."""
    words = np.random.default_rng(7).integers(0, 256, (20, 6), dtype=np.uint8)
    for code in CRC_CATALOGUE.values():
        assert code.of_many(words).tolist() == [code.of(word.tobytes()) for word in words]
