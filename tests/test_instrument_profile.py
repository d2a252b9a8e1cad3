"""Profiles: those that ship, the template, and slips in one's own."""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.instrument.profile_file import (
    parse_profile,
    profile_names,
    profile_text,
    read_profile,
    template,
)

BARE = profile_text("bare")[0]


@pytest.mark.parametrize("name", profile_names())
def test_shipped_profiles_are_sound(name):
    profile = read_profile(name)
    assert profile.name == name
    assert {"identify", "white", "black", "measure"} <= set(profile.commands)


def test_the_template_is_a_profile_of_its_own():
    profile = parse_profile(template(), "template.toml")
    assert profile.unit == "percent" and profile.commands["measure"].reply.checksum.kind == "crc16"
    # What it has commented out is sound too.
    whole = template().replace("# [command", "[command").replace("# send", "send")
    whole = whole.replace("# reply", "reply").replace("# band", "band").replace("# ap", "ap")
    told = parse_profile(whole.replace("# condition", "condition"), "template.toml")
    assert set(told.commands) >= {"begin", "lamp", "error", "abort"}
    assert (told.optics.band_nm, told.aperture_mm, told.condition) == (10, 8, "M0")


def test_words_of_the_standards():
    """IEEE 488.2: *CLS, *IDN?, *OPC?; SCPI-99: READ?, ABORt, SYSTem:ERRor? (from memory)."""
    commands = read_profile("query").commands
    assert commands["begin"].send == b"*CLS"
    assert commands["identify"].send == b"*IDN?"
    assert commands["white"].send.endswith(b"*OPC?")
    assert commands["white"].reply.read(b"1") == {}
    said = commands["error"].reply.read(b'-113,"Undefined header"')
    assert said == {"status": "-113", "message": "Undefined header"}


def test_what_a_profile_says():
    profile = read_profile("bare")
    np.testing.assert_array_equal(profile.wavelengths, np.arange(400.0, 701.0, 10.0))
    assert profile.line.end == b"\r\n" and profile.line.parity == "N"
    assert profile.status.errors["4"] == "the lamp is out"


@pytest.mark.parametrize(
    "old, new, place",
    [
        ('profile = "bare"', "", "profile"),
        ('geometry = "di:8"', "", "geometry"),
        ('geometry = "di:8"', 'geometry = "8:8"', "geometry"),
        ('specular = "included"', "", "specular"),
        ("contact = true", "", "contact"),
        ("contact = true", 'contact = "yes"', "contact"),
        ("baud = 9600", "bauds = 9600", "line, bauds"),
        ("baud = 9600", "stop = 3", "line, stop"),
        ("baud = 9600", "bits = 9", "line, bits"),
        ("retries = 3", "retries = -1", "line, retries"),
        ("retries = 3", 'end = "\\u20ac"', "line, end"),
        ('unit = "percent"', "", "spectrum, unit"),
        ("step_nm = 10", "step_nm = 7", "spectrum, last_nm"),
        ("step_nm = 10", "", "spectrum"),
        ('kind = "sum"', 'kind = "sums"', "checksum, kind"),
        ('kind = "sum"', "", "command, identify, reply"),
        ('ok = ["0"]', "ok = 0", "status, ok"),
        ('ok = ["0"]', "", "status, ok"),
        ('send = "M"', "", "command, measure, send"),
        ('reply = "{status},{values},{checksum}"', "", "command, measure, reply"),
        ("{status},{values},", "{status},{value},", "command, measure, reply"),
        ("{status},{values},", "{status},{status},", "command, measure, reply"),
        ("{status},{values},", "{status}{values},", "command, measure, reply"),
        ("{values},{checksum}", "{checksum},{values}", "command, measure, reply"),
        ("[command.measure]", "[command.measured]", "command, measured"),
        ("[command.lamp]", "[command.measure.lamp]", "measure"),
        ("baud = 9600", "baud = ", "line 10"),
    ],
)
def test_slips_are_named(old, new, place):
    assert old in BARE
    with pytest.raises(InputError) as refusal:
        parse_profile(BARE.replace(old, new), "mine.toml")
    assert refusal.value.file == "mine.toml" and place in (refusal.value.where or "")


def test_no_measure_no_profile():
    head = BARE[: BARE.index("[command.white]")]
    with pytest.raises(InputError, match="what makes the instrument read"):
        parse_profile(head, "mine.toml")


def test_a_profile_that_is_not_there():
    with pytest.raises(InputError, match="did you mean bare"):
        read_profile("bear")
    with pytest.raises(InputError, match="no profile can be read there"):
        read_profile("nowhere.toml")
