import pytest
from cobs import cobs as reference
from hypothesis import given
from hypothesis import strategies as st

from motionhub.link import cobs

# Runs around 254 bytes are where encoders go wrong; plain random bytes seldom have one.
runs = st.lists(st.sampled_from([b"\0", b"\1", b"\xff", b"\7" * 253, b"\7" * 254, b"\7" * 255]), max_size=6)
data = st.one_of(st.binary(max_size=600), runs.map(b"".join))


@given(data)
def test_agrees_with_the_cobs_package(data):
    written = cobs.encode(data)
    assert written == reference.encode(data)
    assert 0 not in written
    assert cobs.decode(written) == data


@given(data)
def test_costs_one_byte_and_one_more_for_every_254(data):
    # Cheshire & Baker 1999: at most one byte in 254, and never less than one.
    assert 1 <= len(cobs.encode(data)) - len(data) <= 1 + len(data) // 254


@pytest.mark.parametrize("length", [*range(4), *range(252, 258), *range(506, 512)])
@pytest.mark.parametrize("byte", [b"\0", b"\1"])
def test_every_length_around_a_full_run(length, byte):
    assert cobs.encode(byte * length) == reference.encode(byte * length)
    assert cobs.decode(cobs.encode(byte * length)) == byte * length


@given(st.binary(min_size=1, max_size=300))
def test_refuses_what_the_cobs_package_refuses_and_reads_the_rest_alike(data):
    try:
        expected = reference.decode(data)
    except reference.DecodeError:
        with pytest.raises(cobs.CobsError):
            cobs.decode(data)
    else:
        assert cobs.decode(data) == expected


def test_nothing_is_no_packet():
    with pytest.raises(cobs.CobsError):
        cobs.decode(b"")
