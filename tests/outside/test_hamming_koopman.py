"""Hamming distances and bursts against published figures.

Sources: P. Koopman, "CRC Polynomial Selection" pages hd3 to hd6 (seen); P. Koopman and T. Chakravarty,
"Cyclic Redundancy Code (CRC) Polynomial Selection for Embedded Networks", DSN 2004 (abstract seen; 0x97 to
119 bits from memory). Rows marked "derived" were worked out by an exhaustive search elsewhere and stand in
no table seen. Bursts: W. W. Peterson and D. T. Brown 1961, and Tanenbaum, Computer Networks (from memory).
"""

from __future__ import annotations

import pytest

from lessonkit.signal.crc import CRC_CATALOGUE, FRAME_CRC
from lessonkit.signal.distance import (
    from_koopman,
    hamming_distance,
    longest_data_bits,
    rank_polynomials,
    undetected_bursts,
)

# Koopman's notation -> most data bits for Hamming distance 3, 4, 5, 6.
PUBLISHED = {
    0x83: (119, 119, 0, 0),
    0xA6: (247, 15, 6, 0),
    0xE7: (247, 19, 1, 1),
    0x9B: (118, 118, 4, 4),
    0xEB: (9, 9, 9, 2),
}
DERIVED = {
    0x97: (119, 119, 3, 3),  # 119 at distance 4: DSN 2004, from memory
    0x9C: (9, 9, 9, 0),
    0x98: (119, 119, 0, 0),
    0x8E: (247, 13, 6, 0),
    0xEA: (85, 85, 2, 2),
    0xCD: (119, 119, 2, 2),
}


@pytest.mark.parametrize(("koopman", "bits"), [*PUBLISHED.items(), *DERIVED.items()], ids=lambda v: str(v))
def test_longest_words(koopman: int, bits: tuple[int, ...]) -> None:
    """Each polynomial keeps each distance to the published number of data bits, and not one further."""
    full = from_koopman(koopman)
    assert tuple(longest_data_bits(full, distance) for distance in (3, 4, 5, 6)) == bits
    for distance, longest in zip((3, 4, 5, 6), bits, strict=True):
        if longest:
            assert hamming_distance(full, longest) >= distance > hamming_distance(full, longest + 1)


def test_best_of_all_eight_bit_polynomials() -> None:
    """Over all 128, the longest words have 247, 119, 9 and 4 bits for distances 3 to 6 (Koopman)."""
    all_of_them = range(0x101, 0x200, 2)
    best = {d: [longest_data_bits(full, d) for full in all_of_them] for d in (3, 4, 5, 6)}
    assert [max(lengths) for lengths in best.values()] == [247, 119, 9, 4]
    # How many reach it (derived; 16 is phi(255) / 8, the number of primitive polynomials of degree 8).
    assert [lengths.count(max(lengths)) for lengths in best.values()] == [16, 18, 2, 6]


def test_catalogue_names_in_koopmans_notation() -> None:
    """0x07 is Koopman's 0x83, and our 0x2F his 0x97 (his "also known as" column)."""
    assert CRC_CATALOGUE["CRC-8/SMBUS"].koopman == 0x83
    assert FRAME_CRC.koopman == 0x97


def test_ccitt_sixteen_bit_keeps_distance_four() -> None:
    """CRC-16 0x1021 keeps distance 4 to 32751 data bits (Koopman, from memory); we look at 2000."""
    assert longest_data_bits(CRC_CATALOGUE["CRC-16/XMODEM"].full_poly, 4, limit=2000) == 2000
    assert longest_data_bits(CRC_CATALOGUE["CRC-16/XMODEM"].full_poly, 5, limit=2000) == 0


@pytest.mark.parametrize("full", [0x107, 0x12F, 0x131])
def test_bursts(full: int) -> None:
    """Bursts up to 8 bits are all caught; 1/128 of 9 bits escape, 1/256 beyond (Peterson and Brown)."""
    for length in range(1, 9):
        assert undetected_bursts(full, 24, length)[0] == 0
    for length, share in ((9, 1 / 128), (10, 1 / 256), (11, 2 / 512), (12, 4 / 1024), (13, 8 / 2048)):
        escaped, tried = undetected_bursts(full, 24, length)
        if length <= 10:
            assert escaped / tried == share
        else:
            assert escaped / tried == pytest.approx(share, rel=1e-12)


def test_our_polynomial_is_the_best_with_room_to_grow() -> None:
    """Among all 128, none with distance 4 at 24 bits and at 32 lets fewer patterns through than 0x12F."""
    ranked = rank_polynomials(24, growth_bits=8)
    first, mirror = ranked[0], ranked[1]
    assert first.full_poly == FRAME_CRC.full_poly
    assert first.distance == 4
    assert first.longest == 119  # Koopman's bound for any CRC-8 at distance 4
    assert int(f"{mirror.full_poly:09b}"[::-1], 2) == first.full_poly
    assert ranked[2].escapes > first.escapes or ranked[2].longest < first.longest
