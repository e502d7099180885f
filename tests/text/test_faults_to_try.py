"""Faults of a tray and what is usually tried for them."""

from petitpied.domain.quantity import Quantity
from petitpied.domain.surface import SurfaceMark
from petitpied.text.hints import faults_to_try
from tests.records import a_shell

BROWN, CLEAN = Quantity(6.0, 0.5), Quantity(0.3, 0.5)


def test_the_most_frequent_fault_first_and_the_unseen_last():
    mark = SurfaceMark((0.0, 0.0), (0.0, 0.0), Quantity(6.0, 0.5), Quantity(1.0, 0.2), 0.9)
    shells = [a_shell(f"A{i}", browning=BROWN) for i in range(3)]
    shells += [a_shell(f"B{i}", dimples=(mark,), browning=CLEAN) for i in range(2)]
    told = list(faults_to_try(shells))
    assert [title for title, _ in told] == [
        "Uneven browning (A0, A1, A2)", "Dimples (B0, B1)", "Hollow, sticky or tough",
    ]  # fmt: skip
    assert all("common practice, no source" in text for _, text in told)
    assert "no photo shows these" in told[-1][1]


def test_one_shell_is_chance_and_a_clean_tray_needs_nothing():
    assert not list(faults_to_try([a_shell("A1", browning=BROWN), a_shell("A2")]))
