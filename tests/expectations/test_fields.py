"""What may be written under each expectation, and that each says what the language promises to say of it."""

from __future__ import annotations

import importlib
import subprocess
import sys
from typing import Any

import pytest
from factory import PARTS, station
from pydantic import ValidationError

from stationtest.plugins import EXPECTATIONS

NAMES = [row[0] for row in EXPECTATIONS]

WORDS: list[tuple[str, Any, str]] = [
    ("own_channel_only", "yes", "its own channels fire for sure, and every other channel of that sensor stays silent"),
    ("only_channels", ["1", "2"], "channels 1 and 2 fire for sure, and every other channel of that sensor stays silent"),
    ("channels", "1", "channel 1 fires for sure"),
    ("silent", ["2", "3"], "channels 2 and 3 stay silent"),
    ("no_channel", "yes", "no channel of that sensor switches"),
    ("outputs", {"flap": {"is": "on", "from": "box out", "after": "20 ms", "within": "200 ms", "lasts": "at least 100 ms"}},
     "flap comes on within 200 ms from 20 ms after the edge box out and lasts at least 100 ms"),
    ("outputs", {"flap": {"is": "off", "from": "start", "until": "box out falls"}},
     "flap stays off from its start until the edge box out falls"),
    ("outputs", {"flap": {"is": "off", "from": "end"}}, "flap stays off from its end until its next decision"),
    ("outputs", {"flap": {"is": "as the set is", "within": "200 ms"}},
     "flap comes on within 200 ms from its decision where the set is incomplete, and stays off then where it is complete"),
    ("outputs", {"flap": {"is": "as the set is", "from": "end"}},
     "flap comes on after its end where the set is incomplete, and stays off from its end until its next decision where it is "
     "complete"),
    ("neighbours", {"flap": "off"}, "flap hits neither the one before it nor the one after it"),
    ("set", "incomplete", "the output of the set says that it is incomplete"),
    ("pulses", {"channels": "own", "exactly": "1"}, "its own channels each give exactly 1 pulse"),
    ("pulses", {"output": "counter", "at_least": "1", "at_most": "3"}, "counter gives at least 1 and at most 3 pulses"),
    ("response", {"at_most": "20 ms", "from": "covered"},
     "its own channels fire at most 20 ms after the instant at which it covers the spot"),
    ("held", "at least 40 ms", "its own channels stay on for at least 40 ms without a break"),
    ("margin", {"must_fire": "at least 0.25"}, "the margin of its own channels is at least 0.25"),
    ("level", {"at_least": "30 %", "at_most": "95 %"},
     "the level of every reading of its plateau is at least 30 % and at most 95 %"),
    ("order", ["1", "2"], "channels 1 and 2 come on for the first time in this order"),
    ("count", {"output": "counter", "targets": "mint"}, "counter gives as many pulses as truth lists presentations of mint"),
    ("alike", {"distance": "CIEDE2000", "at_most": "2"}, "no two plateau means differ by more than 2 (CIEDE2000)"),
    ("drift", {"of": "level", "over": "10", "at_most": "2 %"},
     "no mean of 10 presentations in a row of one target differs from the first by more than 2 % (level)"),
    ("agrees", {"edges_within": "15 ms", "latency": "4 ms"},
     "recorded and computed channels switch alike, every edge within 15 ms, 4 ms of latency taken off"),
]  # fmt: skip

REFUSED: list[tuple[str, Any, str]] = [
    ("own_channel_only", "no", "only `yes` says something here"),
    ("only_channels", [], "this list is empty"),
    ("outputs", {"flap": {"is": "on"}}, "this key is missing: from"),
    ("outputs", {"flap": {"is": "as it is", "from": "start"}}, "allowed on, off or as the set is"),
    ("neighbours", {"flap": "on"}, "off"),
    ("outputs", {"flap": {"is": "off", "from": "start", "within": "200 ms"}}, "an output that must stay off has no `within`"),
    ("outputs", {"flap": {"is": "on", "from": "start", "within": "9 ms", "until": "box out"}}, "both end the window"),
    ("outputs", {"flap": {"is": "on", "from": "start", "within": "200"}}, "a bare number needs a unit"),
    ("set", "full", "complete"),
    ("pulses", {"channels": "own"}, "how many pulses is not said"),
    ("pulses", {"exactly": "1"}, "pulses are of channels or of an output"),
    ("pulses", {"output": "a", "channels": "own", "exactly": "1"}, "pulses are of channels or of an output"),
    ("pulses", {"output": "a", "exactly": "1", "at_most": "2"}, "`exactly` leaves nothing for other limits"),
    ("pulses", {"output": "a", "at_least": "3", "at_most": "2"}, "no count is in these limits"),
    ("response", {"at_most": "20 ms"}, "Field required"),
    ("response", {"at_most": "20 ms", "from": "end"}, "a response is not counted from the end"),
    ("held", "40 ms", "a limit begins with `at least`"),
    ("margin", {}, "no limit is given"),
    ("margin", {"must_fire": "0.25"}, "a limit begins with `at least`"),
    ("level", {}, "no limit is given"),
    ("level", {"at_least": "90 %", "at_most": "30 %"}, "no level is in these limits"),
    ("order", ["1"], "an order is of at least two channels"),
    ("order", ["1", "1"], "an order is of at least two channels"),
    ("alike", {"distance": "CIE 1931", "at_most": "2"}, "CIEDE2000"),
    ("drift", {"of": "level", "over": "10", "at_most": "2"}, "the limit does not fit a drift of level"),
    ("drift", {"of": "CIEDE2000", "over": "10", "at_most": "2 %"}, "the limit does not fit a drift of CIEDE2000"),
    ("agrees", {"latency": "4 ms"}, "Field required"),
]


@pytest.mark.parametrize(("name", "written", "sentence"), WORDS)
def test_each_says_in_one_sentence_what_a_trial_must_do(name: str, written: Any, sentence: str) -> None:
    part = PARTS.expectations[name]
    fields = PARTS.resolve(part.fields).model_validate(written)
    assert PARTS.resolve(part.words)(fields, station()) == sentence


@pytest.mark.parametrize(("name", "written", "message"), REFUSED)
def test_what_cannot_be_meant_is_refused(name: str, written: Any, message: str) -> None:
    with pytest.raises(ValidationError) as caught:
        PARTS.resolve(PARTS.expectations[name].fields).model_validate(written)
    assert message in str(caught.value)


@pytest.mark.parametrize("name", NAMES)
def test_each_expectation_documents_what_the_language_promises(name: str) -> None:
    text = importlib.import_module(f"stationtest.expectations.{name}").__doc__ or ""
    missing = [
        word for word in ("Unit:", "Fields", "onforms", "Instant named:", "Not judged:", "Example by hand") if word not in text
    ]
    assert not missing
    assert text.startswith(f"`{name}:")


def test_fields_and_words_load_no_numpy() -> None:
    """`check` reads case files without it."""
    code = (
        "import importlib, sys\n"
        f"for name in {NAMES!r}: importlib.import_module('stationtest.expectations.' + name)\n"
        "sys.exit('numpy' in sys.modules or 'scipy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
