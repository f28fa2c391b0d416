"""The quantities and their units."""

from metercap.quantity import Quantity, parse_value

# The SI Brochure (BIPM, 9th edition), tables 4 and 8: units with special names; percent is 5.4.7.
UNITS = {
    "resistance": "ohm",
    "continuity": "ohm",
    "voltage_dc": "V",
    "voltage_ac": "V",
    "current_dc": "A",
    "current_ac": "A",
    "capacitance": "F",
    "frequency": "Hz",
    "duty": "%",
    "diode": "V",
    "temperature": "degC",
}


def test_every_quantity_has_its_unit() -> None:
    """Each quantity's unit is the SI unit of that quantity, and none is missing."""
    assert {str(quantity): quantity.unit for quantity in Quantity} == UNITS


def test_every_unit_can_be_read() -> None:
    """A number written with a quantity's unit is read as that unit."""
    for quantity in Quantity:
        assert parse_value(f"3 {quantity.unit}", unit=quantity.unit).value == 3.0
