"""What is out, in which order, and where it lies."""

import pytest

from benchguide.session.ledger import Ledger, OutItem, connectors_out, isolated, put_back, take_off
from tests.session.small_job import make_job


def some_out() -> Ledger:
    ledger = take_off(Ledger(), "lid-screws", 3, "A1", "first")
    ledger = take_off(ledger, "fan-plug", 1, "", "second")
    return take_off(ledger, "lid-screws", 1, "A2", "third")


def test_order_and_counts() -> None:
    ledger = some_out()
    assert [item.part for item in ledger.out] == ["lid-screws", "fan-plug", "lid-screws"]
    assert (ledger.pieces, ledger.pieces_of("lid-screws"), ledger.pieces_of("lid")) == (5, 4, 0)
    assert ledger.names() == {"lid-screws", "fan-plug"}
    assert ledger.is_out("fan-plug")
    assert not ledger.is_out("lid")
    assert ledger.last_of("lid-screws") == OutItem("lid-screws", 1, "A2", "third")
    assert ledger.last_of("lid") is None


def test_the_newest_goes_back_first() -> None:
    ledger = put_back(some_out(), "lid-screws", 2)
    assert ledger.out == (OutItem("lid-screws", 2, "A1", "first"), OutItem("fan-plug", 1, "", "second"))
    assert put_back(ledger, "lid-screws", 2).out == (OutItem("fan-plug", 1, "", "second"),)


def test_more_than_is_out_cannot_go_back() -> None:
    ledger = some_out()
    with pytest.raises(ValueError, match="5 of lid-screws cannot go back, 4 are out"):
        put_back(ledger, "lid-screws", 5)


def test_connectors_and_isolation() -> None:
    device = make_job().device
    assert connectors_out(some_out(), device) == ("fan-plug",)
    assert not isolated(some_out(), device)
    assert isolated(take_off(some_out(), "cell-plug", 1, "", "s"), device)


def test_a_device_without_energy_source_is_isolated() -> None:
    device = make_job(parts=[{"id": "a", "kind": "cover", "name": "a"}]).device
    assert isolated(Ledger(), device)
