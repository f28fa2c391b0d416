"""The quantities a meter measures, and the SI unit of each."""

from __future__ import annotations

from enum import StrEnum


class Quantity(StrEnum):
    """What a meter measures."""

    RESISTANCE = "resistance"
    CONTINUITY = "continuity"
    VOLTAGE_DC = "voltage_dc"
    VOLTAGE_AC = "voltage_ac"
    CURRENT_DC = "current_dc"
    CURRENT_AC = "current_ac"
    CAPACITANCE = "capacitance"
    FREQUENCY = "frequency"
    DUTY = "duty"
    DIODE = "diode"
    TEMPERATURE = "temperature"

    @property
    def unit(self) -> str:
        """The SI unit of this quantity's values, without prefix ("degC" for temperature, "%" for duty)."""
        return _UNIT_OF[self]


_UNIT_OF = {
    Quantity.RESISTANCE: "ohm",
    Quantity.CONTINUITY: "ohm",
    Quantity.VOLTAGE_DC: "V",
    Quantity.VOLTAGE_AC: "V",
    Quantity.CURRENT_DC: "A",
    Quantity.CURRENT_AC: "A",
    Quantity.CAPACITANCE: "F",
    Quantity.FREQUENCY: "Hz",
    Quantity.DUTY: "%",
    Quantity.DIODE: "V",
    Quantity.TEMPERATURE: "degC",
}
