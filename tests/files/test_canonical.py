# ruff: noqa: E501 (messages stand whole on one line)
"""Canonical JSON. Sources: RFC 8785, section 3.2.2 (the sample object), section 3.2.3 (sorting) and appendix B (numbers as IEEE 754 bit
patterns), both written down from memory of the RFC and held against a second rule: ECMA-262 gives the shortest digits that read back.
"""

from __future__ import annotations

import enum
import json
import struct
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stationtest.files.canonical import dumps, number

APPENDIX_B = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555554", "333333333.33333325"),
    ("41b3de4355555555", "333333333.3333333"),
    ("41b3de4355555556", "333333333.3333334"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
    ("43143ff3c1cb0959", "1424953923781206.2"),
]


@pytest.mark.parametrize(("bits", "text"), APPENDIX_B)
def test_numbers_of_appendix_b(bits: str, text: str) -> None:
    assert number(struct.unpack(">d", bytes.fromhex(bits))[0]) == text


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_follow_ecmascript(value: float) -> None:
    """ECMA-262, Number::toString: shortest digits that read back; exponents from 1e21 up and below 1e-6; no sign of zero."""
    text = number(value)
    assert float(text) == value
    digits = text.lstrip("-").split("e")[0].replace(".", "").strip("0")
    assert digits == repr(abs(value)).split("e")[0].replace(".", "").strip("0")
    assert ("e" in text) == (value != 0 and not 1e-6 <= abs(value) < 1e21)
    assert not text.endswith(".0") and text != "-0"


def test_the_sample_of_section_3_2_2() -> None:
    sample = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": '\u20ac$\u000f\nA\'B"\\\\"/',
        "literals": [None, True, False],
    }
    assert dumps(sample) == (
        b'{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"\xe2\x82\xac$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


def test_keys_are_sorted_by_utf16_code_units() -> None:  # section 3.2.3: the astral smiley sorts before U+FB33
    keys = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    assert list(json.loads(dumps(dict.fromkeys(keys, 0)))) == ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]


class _Word(str):
    pass


class _Kind(enum.IntEnum):
    A = 1


@pytest.mark.parametrize("value", [(1,), {1: 2}, {_Word("a"): 1}, _Word("a"), _Kind.A, {1}, b"a", 1j, [[object()]]])
def test_other_types_have_no_canonical_form(value: Any) -> None:
    with pytest.raises(TypeError):
        dumps(value)


def test_numpy_scalars_have_no_canonical_form() -> None:
    import numpy as np

    for value in (np.float64(1.0), np.int64(1), np.bool_(True), np.str_("a")):
        with pytest.raises(TypeError):
            dumps(value)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 2**53, -(2**53), "\ud800"])
def test_values_that_are_refused(value: Any) -> None:
    with pytest.raises(ValueError):
        dumps([value])


_JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=20,
)


@given(_JSON)
def test_what_is_written_reads_back_and_is_stable(value: Any) -> None:
    data = dumps(value)
    again = json.loads(data, parse_int=float)
    assert again == value and dumps(again) == data
