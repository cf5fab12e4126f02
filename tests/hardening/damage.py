"""Damage to a file: bytes changed, cut, doubled, put in from elsewhere. Seeded through hypothesis."""

from hypothesis import strategies as st

ODD = [b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b'"', b'""', b"\n", b"\r", b"\r\n\r\n", b";", b",", b",,,,,,,,", b"\t", b"nan",
       b"inf", b"-inf", b"1e999", b"-1", b"9" * 400, b"1e-400", b"0x10", b"\xc2\xb5", b"\xb5", b"=1+1", b"NULL",
       b"1970-01-01T00:00:00",
       b"9999-12-31T23:59:59", b"0000-00-00", b"2026-02-30T25:61:61", b"x" * 5000, b"#", b"[", b"]", b"!", b"\x1a"]  # fmt: skip

blows = st.lists(
    st.tuples(
        st.floats(0.0, 1.0),
        st.sampled_from(["put", "cut", "double", "end", "swap"]),
        st.integers(0, 200),
        st.one_of(st.sampled_from(ODD), st.binary(max_size=12)),
    ),
    min_size=1,
    max_size=4,
)


def damage(data, given):
    """`data` after the blows."""
    for place, kind, length, odd in given:
        at = int(place * len(data))
        if kind == "put":
            data = data[:at] + odd + data[at + length % 8 :]
        elif kind == "cut":
            data = data[:at] + data[at + length :]
        elif kind == "double":
            data = data[:at] + data[at : at + length] * 2 + data[at + length :]
        elif kind == "end":
            data = data[:at]
        else:
            data = data[at : at + length] + data[:at] + data[at + length :]
    return data
