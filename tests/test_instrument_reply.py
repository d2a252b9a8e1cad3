"""Replies: numbers, checksums and patterns."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tintladder.calibrate.instrument.faults import Garbled
from tintladder.calibrate.instrument.protocol.checksum import Checksum
from tintladder.calibrate.instrument.protocol.numbers import Values
from tintladder.calibrate.instrument.protocol.reply import Grammar, escaped

CHECKSUMS = {"sum": Checksum("sum"), "xor": Checksum("xor"), "crc16": Checksum("crc16", 2)}


def numbers(text: str, separator: str, missing: tuple[str, ...] = ()) -> list[float]:
    """Read numbers of text, however many there are."""
    count = len(text.split() if separator == " " else text.split(separator))
    values = Values(count, separator=separator, missing=missing)
    return values.read(text, np.arange(float(count)))[0].tolist()


@pytest.mark.parametrize(
    "kind, data, expected",
    [
        # The check value that catalogues give for the polynomial 0x1021 from 0 (from memory).
        ("crc16", b"123456789", 0x31C3),
        # The worked example of NMEA 0183 that most descriptions quote (from memory).
        ("xor", b"GPGLL,5300.97914,N,00259.98174,E,125926,A", 0x28),
        ("sum", b"\xff\x02", 0x01),
    ],
)
def test_checksums_are_as_published(kind, data, expected):
    assert CHECKSUMS[kind].value(data) == expected


@pytest.mark.parametrize(
    "text, expected",
    [
        # The forms that IEEE 488.2 names NR1, NR2 and NR3.
        ("12,-3,+4", [12, -3, 4]),
        ("0.5,12.,.25", [0.5, 12.0, 0.25]),
        ("1.5E-1,2e2,-3.0E+00", [0.15, 200.0, -3.0]),
    ],
)
def test_numbers_of_every_form(text, expected):
    assert numbers(text, ",") == expected


@pytest.mark.parametrize("text", ["1,,2", "nan", "inf", "1_0", "0x10", "1 2", "1,2,", "²"])
def test_what_is_no_number(text):
    with pytest.raises(Garbled, match="expected a number"):
        numbers(text, ",")


def test_missing_values_are_missing():
    # 9.91E37 is how SCPI-99 writes that there is no number.
    found = numbers("1,9.91E37,3", ",", ("9.91E37",))
    assert found[::2] == [1, 3] and math.isnan(found[1])


def test_white_space_may_part_values():
    assert numbers(" 1\r\n2  3\t4 ", " ") == [1, 2, 3, 4]


def test_an_identity_as_ieee_488_2_has_it():
    """Four fields between commas: maker, model, serial number, firmware."""
    said = Grammar("{maker},{model},{serial},{firmware}").read(b"Boatyard,Bench reader,42,1.0")
    assert said == {"maker": "Boatyard", "model": "Bench reader", "serial": "42", "firmware": "1.0"}


@pytest.mark.parametrize("kind", CHECKSUMS)
@given(
    status=st.sampled_from(["0", "12", "E4"]),
    values=st.lists(st.floats(-1, 200).map(lambda v: f"{v:.4f}"), min_size=1, max_size=40),
)
def test_what_is_written_is_read(kind, status, values):
    grammar = Grammar("{status},{values}*{checksum}", CHECKSUMS[kind])
    fields = {"status": status, "values": ",".join(values)}
    said = grammar.read(grammar.write(fields))
    assert {key: said[key] for key in fields} == fields
    assert grammar.read(grammar.write({"status": status}))["status"] == status


@given(place=st.integers(0, 10), bit=st.integers(0, 6))
def test_one_flipped_bit_never_passes_the_crc(place, bit):
    grammar = Grammar("{status},{values}*{checksum}", CHECKSUMS["crc16"])
    good = grammar.write({"status": "0", "values": "12.5,80.25"})
    bad = bytearray(good)
    bad[place] ^= 1 << bit
    with pytest.raises(Garbled):
        grammar.read(bytes(bad))


@given(st.binary(max_size=80))
def test_any_bytes_are_read_or_refused(data):
    for pattern in ("{status},{values},{checksum}", "{maker},{model},{serial},{firmware}", "1"):
        try:
            Grammar(pattern, CHECKSUMS["sum"]).read(data)
        except Garbled as refusal:
            assert "\n" not in str(refusal) and str(refusal).isascii()


def test_bytes_are_shown_escaped():
    assert escaped(b"0,\x00\xff\r\n") == r"0,\x00\xff\r\n"
    long = escaped(b"1234567890" * 10 + b"\xfe" + b"1234567890" * 10)
    assert r"\xfe" in long and long.startswith("... ") and long.endswith(" ...")
    assert len(long) < 80
