"""SHA-256, canonical JSON and time stamps against their standards.

Sources: FIPS 180-4 with the NIST example file for SHA-256; RFC 8785 (sections 3.2.2 and 3.2.3, appendix B);
RFC 3339 section 5.8.
"""

import json
import math
import struct
from datetime import UTC, datetime

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from benchguide.store.links import canonical, link_hash, parse_exact

# NIST, "Secure Hash Standard: Examples with Intermediate Values, SHA-256" and FIPS 180-4; the 896-bit message
# and the million a's are in the same set.
SHA256 = {
    b"": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    b"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq": (
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    ),
    b"abcdefghbcdefghicdefghijdefghijkefghijklfghijklmghijklmnhijklmnoijklmnopjklmnopqklmnopqrlmnopqrsmnopqrst"
    b"nopqrstu": "cf5b16a778af8380036ce59e7b0492370b249b11e8f07a51afac45037afee9d1",
    b"a" * 1_000_000: "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
}


@pytest.mark.parametrize(("message", "digest"), list(SHA256.items()), ids=lambda value: str(value)[:12])
def test_sha256_fips_180_4(message, digest):
    assert link_hash(message) == digest


def test_photo_hash_is_the_same_function(tmp_path):
    from benchguide.store.photos import hash_file

    for message, digest in SHA256.items():
        (tmp_path / "message").write_bytes(message)
        assert hash_file(tmp_path / "message", from_disk=True) == digest


# RFC 8785 section 3.2.2: input and the expected octets of section 3.2.4.
RFC_INPUT = (
    '{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],'
    '"string":"\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/","literals":[null,true,false]}'
)
RFC_OUTPUT = (
    "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62657273223a5b3333333333333333332e"
    "333333333333332c31652b33302c342e352c302e3030322c31652d32375d2c22737472696e67223a22e282ac245c7530303066"
    "5c6e4127425c225c5c5c5c5c222f227d"
)


def test_rfc_8785_sample():
    text = canonical(json.loads(RFC_INPUT))
    assert text.hex() == RFC_OUTPUT
    assert link_hash(text) == "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"
    assert canonical(parse_exact(text)) == text


def test_rfc_8785_key_order():
    """Section 3.2.3: names sort by UTF-16 code units, so the emoji comes before the Hebrew letter."""
    sample = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    assert list(json.loads(canonical(sample)).values()) == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


# RFC 8785 appendix B: IEEE 754 bits and the text they must give.
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize(("bits", "text"), list(NUMBERS.items()))
def test_rfc_8785_appendix_b(bits, text):
    number = struct.unpack(">d", bytes.fromhex(bits))[0]
    assert canonical(number) == text.encode() == rfc8785.dumps(number)
    assert canonical(parse_exact(text.encode())) == text.encode()


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_rfc_8785_refuses_what_is_no_number(number):
    with pytest.raises(ValueError, match="not representable"):
        canonical(number)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(st.characters(max_codepoint=127)), inner),
    )
)
def test_the_quick_way_for_plain_values_gives_the_text_of_the_reference_library(value):
    assert canonical(value) == rfc8785.dumps(value)


def test_half_a_surrogate_pair_is_refused():
    """RFC 8785 section 3.2.2.2: lone surrogates must end in an error."""
    with pytest.raises(ValueError, match="JSON"):
        canonical({"text": "\ud800"})


def test_pythons_own_sorted_json_is_not_canonical():
    """Why a library: the standard module differs in numbers and in the order of names."""
    for value in (1e-6, 1e16, {"\U0001f600": 1, "\ufb33": 2}):
        own = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
        assert own != canonical(value)


@pytest.mark.parametrize(
    ("stamp", "utc"),
    [
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520_000, UTC)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, 0, UTC)),
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870_000, UTC)),
    ],
)
def test_rfc_3339_examples_survive_the_log(tmp_path, stamp, utc):
    """Section 5.8. The log keeps the stamp as written: the offset is not normalised away."""
    from benchguide.store.log import EventLog

    with EventLog.open(tmp_path) as log:
        log.append("s", [{"kind": "SessionStarted", "at": {"wall": stamp}, "data": {}}])
        row = log.sessions()[0]
    assert row.started == row.last_at == stamp
    assert datetime.fromisoformat(row.started) == utc
