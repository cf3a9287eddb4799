"""Ohms in words: with the unit that a meter would show, and no exponent.

>>> ohm_words(20.0), ohm_words(200000.0), ohm_words(1e9)
('20 ohm', '200 kohm', '1 Gohm')
"""

from __future__ import annotations

import math

__all__ = ["ohm_words"]

_SIZES = ((1e9, "Gohm"), (1e6, "Mohm"), (1e3, "kohm"))


def ohm_words(ohm: float, digits: int = 6) -> str:
    """Return ohms as words: "open" where they are endless, else to so many digits."""
    if math.isinf(ohm):
        return "open"
    rounded = float(f"{ohm:.{digits}g}")
    size, unit = next(((size, unit) for size, unit in _SIZES if abs(rounded) >= size), (1.0, "ohm"))
    share = rounded / size
    decimals = max(0, digits - 1 - (math.floor(math.log10(abs(share))) if share else 0))
    number = f"{share:.{min(decimals, 12)}f}"
    return f"{number.rstrip('0').rstrip('.') if '.' in number else number} {unit}"
