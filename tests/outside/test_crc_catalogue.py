"""Checks against the CRC catalogue, two general-purpose CRC libraries, and RFC 1071.

Sources: the catalogue of parametrised CRC algorithms (RevEng), as carried by the crccheck library and, for
the values written out below, by two other copies of it; crcmod, an implementation of its own; RFC 1071
(from memory).
"""

from __future__ import annotations

import crccheck
import crccheck.crc
import crcmod
import numpy as np
import pytest
from crccheck.checksum import ChecksumXor8

from lessonkit.signal.crc import CRC_CATALOGUE, FRAME_CRC, Crc, OnesComplementSum, Parity

NINE = b"123456789"

# Catalogue values written out, so that they stand even if a library should change.
# Seen in copies of the catalogue (a CRC crate's documentation, a CRC library's README).
CATALOGUE_CHECK = {
    "CRC-8/SMBUS": 0xF4,
    "CRC-8/MAXIM-DOW": 0xA1,
    "CRC-8/AUTOSAR": 0xDF,
    "CRC-8/CDMA2000": 0xDA,
    "CRC-8/SAE-J1850": 0x4B,
    "CRC-16/IBM-3740": 0x29B1,
    "CRC-16/MODBUS": 0x4B37,
    "CRC-16/ARC": 0xBB3D,
    "CRC-16/XMODEM": 0x31C3,
    "CRC-16/KERMIT": 0x2189,
}


def _reference(name: str) -> type:
    """The class in crccheck that carries this catalogue name."""
    found = [one for one in crccheck.crc.ALLCRCCLASSES if name in getattr(one, "_names", ())]
    assert found, f"crccheck knows no {name}"
    return found[0]


def _crcmod(code: Crc):  # type: ignore[no-untyped-def]
    """The same CRC from crcmod, which wants the start value as it is after the final exclusive or."""
    start = code.init
    if code.refin:
        start = int(f"{start:0{code.width}b}"[::-1], 2)
    return crcmod.mkCrcFun(code.full_poly, initCrc=start ^ code.xorout, rev=code.refin, xorOut=code.xorout)


@pytest.mark.parametrize(("name", "check"), CATALOGUE_CHECK.items())
def test_catalogue_check_values(name: str, check: int) -> None:
    """The nine ASCII digits give the catalogue's check value."""
    assert CRC_CATALOGUE[name].of(NINE) == check


@pytest.mark.parametrize("code", CRC_CATALOGUE.values(), ids=lambda code: code.name)
def test_parameters_are_the_catalogues(code: Crc) -> None:
    """Width, polynomial, start, reflections, final value and check are those of crccheck's copy."""
    theirs = _reference(code.name)
    assert (code.width, code.poly, code.init, code.refin, code.refout, code.xorout, code.check) == (
        theirs._width, theirs._poly, theirs._initvalue, theirs._reflect_input, theirs._reflect_output,
        theirs._xor_output, theirs._check_result,
    )  # fmt: skip


@pytest.mark.parametrize("code", [*CRC_CATALOGUE.values(), FRAME_CRC], ids=lambda code: code.name)
def test_random_data_through_two_libraries(code: Crc) -> None:
    """On random words, singly and many at once, we agree bit for bit with crcmod and crccheck."""
    words = np.random.default_rng(11).integers(0, 256, (50, 7), dtype=np.uint8)
    many = code.of_many(words)
    mod = _crcmod(code)
    check = crccheck.crc.Crc(
        code.width, code.poly, code.init,
        reflect_input=code.refin, reflect_output=code.refout, xor_output=code.xorout,
    )  # fmt: skip
    for word, value in zip(words, many.tolist(), strict=True):
        data = word.tobytes()
        assert code.of(data) == value == mod(data) == check.calc(data)


def test_frame_crc_has_the_catalogues_polynomial() -> None:
    """Our frame's CRC is CRC-8/AUTOSAR in all but the order of the bits; crcmod makes the same of it."""
    theirs = CRC_CATALOGUE["CRC-8/AUTOSAR"]
    assert (FRAME_CRC.poly, FRAME_CRC.init, FRAME_CRC.xorout) == (theirs.poly, theirs.init, theirs.xorout)
    assert FRAME_CRC.of(NINE) == FRAME_CRC.check == _crcmod(FRAME_CRC)(NINE)
    # Mirror the data and the result, and the catalogue's own algorithm comes out.
    mirrored = bytes(int(f"{byte:08b}"[::-1], 2) for byte in NINE)
    assert int(f"{FRAME_CRC.of(mirrored):08b}"[::-1], 2) == theirs.check


def test_autosar_residue() -> None:
    """A good word with its check leaves the catalogue's residue 0x42 in CRC-8/AUTOSAR's register."""
    code = CRC_CATALOGUE["CRC-8/AUTOSAR"]
    whole = NINE + bytes((code.of(NINE),))
    assert code.of(whole) ^ code.xorout == 0x42


def test_internet_checksum_example() -> None:
    """The worked example of RFC 1071, section 3 (from memory): the words 0001 f203 f4f5 f6f7 sum to ddf2."""
    data = bytes.fromhex("0001f203f4f5f6f7")
    assert OnesComplementSum(16).of(data) == 0xFFFF - 0xDDF2
    # A receiver that adds everything, the checksum too, gets all ones, whose complement is zero.
    assert OnesComplementSum(16).of(data + (0xFFFF - 0xDDF2).to_bytes(2, "big")) == 0


def test_longitudinal_parity_is_an_exclusive_or() -> None:
    """A parity bit for the whole word is the parity of crccheck's byte-wise exclusive or."""
    words = np.random.default_rng(5).integers(0, 256, (40, 5), dtype=np.uint8)
    ours = Parity().check_bits(words)[:, 0].tolist()
    assert ours == [ChecksumXor8.calc(word.tobytes()).bit_count() % 2 for word in words]
