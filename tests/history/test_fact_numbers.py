"""Numbers as bakers write them: taken where they can mean one thing, else asked about."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from petitpied.history import fact_numbers as numbers


@pytest.mark.parametrize(
    ("check", "written", "meant"),
    [
        (numbers.celsius, "150,5", 150.5),
        (numbers.celsius, 150, 150),
        (numbers.celsius, "302 F", 150),  # (302 - 32) * 5 / 9
        (numbers.celsius, "302\u00b0F", 150),
        (numbers.celsius, "300 \u00b0C", 300),
        (numbers.minutes, "1,200 min", None),
        (numbers.minutes, "1 h 30 min", 90),
        (numbers.minutes, "2h", 120),
        (numbers.minutes, "40 min", 40),
        (numbers.minutes, "1 200 min", 1200),
        (numbers.minutes, "1,200.5 min", 1200.5),
        (numbers.minutes, "1.200,5 min", 1200.5),
        (numbers.minutes, "1,200", None),
        (numbers.minutes, "1.200", None),
        (numbers.minutes, 1200, None),
        (numbers.humidity, "55", 0.55),
        (numbers.humidity, "55,5 %", 0.555),
        (numbers.humidity, 0.55, 0.55),
        (numbers.humidity, "1 %", None),
        (numbers.humidity, "0.9 %", None),
        (numbers.humidity, "1", None),
        (numbers.humidity, "100 %", 1.0),
        (numbers.celsius, "302", None),
        (numbers.celsius, 302, None),
        (numbers.celsius, "1,5.0,0", None),
    ],
)
def test_taken_or_asked(check, written, meant):
    if meant is None:
        with pytest.raises(ValueError, match=r"is|must"):
            check(written)
    else:
        assert check(written) == pytest.approx(meant, abs=1e-9)


def test_both_readings_are_said():
    with pytest.raises(ValueError, match=r"is 1\.2 or 1200: write it without"):
        numbers.minutes("1,200")
    with pytest.raises(ValueError, match="write 302 F if degrees Fahrenheit"):
        numbers.celsius("302")


@given(st.floats(-1e6, 1e6).map(lambda v: round(v, 2)))
def test_a_plain_number_is_among_its_readings(number):
    assert number in numbers.readings(f"{number:.2f}")
    assert number in numbers.readings(f"{number:.2f}".replace(".", ","))
    assert numbers.readings(f"{number:,.2f}") == (number,)
