"""The border: units are read here on the way in and changed here on the way out.

Inside, every number is in its column's house unit. Conversion factors are pint's; the aliases are
the trade's. The list of aliases is closed, so that `[F]` can't become a farad or `pt` a pint.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pint

System = Literal["us", "metric"]

_SPELLINGS: dict[str, str] = {
    "inch": "in inch inches \" ″ ” '' in.",
    "foot": "ft foot feet ' ′ ’ ft. lf",
    "yard": "yd yard yards yds",
    "millimeter": "mm millimeter millimeters millimetre millimetres",
    "centimeter": "cm centimeter centimeters centimetre centimetres",
    "meter": "m meter meters metre metres",
    "inch**2": "in2 sqin",
    "foot**2": "ft2 sf sqft squarefeet squarefoot sq.ft. sq.ft",
    "yard**2": "yd2 sy sqyd squareyards squareyard",
    "meter**2": "m2 sqm squaremeters squaremetres",
    "foot**3": "ft3 cf cuft cubicfeet cubicfoot cft",
    "yard**3": "yd3 cy cuyd cubicyards cubicyard cyd cu.yd. cu.yd",
    "meter**3": "m3 cum cubicmeters cubicmetres cbm",
    "liter": "l liter liters litre litres",
    "US_liquid_gallon": "gal gallon gallons gal.",
    "psi": "psi",
    "ksi": "ksi",
    "kilopascal": "kpa",
    "megapascal": "mpa n/mm2",
    "degF": "f degf fahrenheit deg.f",
    "degC": "c degc celsius deg.c",
    "kelvin": "k kelvin",
    "mile/hour": "mph mi/h mi/hr miles/h milesperhour",
    "foot/second": "ft/s fps",
    "meter/second": "m/s mps",
    "kilometer/hour": "km/h kmh kph km/hr",
    "knot": "knot knots kt kts kn",
    "minute": "min mins minute minutes min.",
    "hour": "h hr hrs hour hours hr.",
    "second": "s sec secs second seconds",
    "percent": "% percent pct",
    "USD": "usd $ dollar dollars us$",
    "USD/hour": "usd/h $/h usd/hr $/hr usd/hour $/hour dollars/hour dollars/h",
    "watt/meter**2": "w/m2",
    "degree": "deg degree degrees",
}

_HOUSE: dict[str, str] = {
    "ft2": "foot**2", "in": "inch", "yd3": "yard**3", "percent": "percent", "psi": "psi",
    "degF": "degF", "mph": "mile/hour", "ft": "foot", "min": "minute", "h": "hour", "USD": "USD",
    "USD/h": "USD/hour", "gal": "US_liquid_gallon", "m": "meter", "deg": "degree",
    "W/m2": "watt/meter**2", "m2": "meter**2", "mm": "millimeter", "m3": "meter**3",
    "MPa": "megapascal", "degC": "degC", "km/h": "kilometer/hour", "L": "liter",
    "lb/ft2/h": "pound/foot**2/hour", "kg/m2/h": "kilogram/meter**2/hour",
}  # fmt: skip

METRIC: dict[str, str] = {
    "ft2": "m2", "in": "mm", "yd3": "m3", "psi": "MPa", "degF": "degC", "mph": "km/h", "ft": "m",
    "gal": "L", "lb/ft2/h": "kg/m2/h",
}  # fmt: skip
"""The metric unit shown for each house unit; the others are the same in both systems."""

_WORDS: dict[str, str] = {
    "ft2": "an area", "in": "a length", "ft": "a length", "m": "a length", "yd3": "a volume",
    "gal": "a volume", "percent": "a percentage", "psi": "a strength", "degF": "a temperature",
    "mph": "a speed", "min": "a length of time", "h": "a length of time", "USD": "money",
    "USD/h": "money an hour", "deg": "an angle", "W/m2": "an irradiance",
}  # fmt: skip


class UnitError(ValueError):
    """A unit that is not known, or of the wrong dimension; the text says what would do."""


@cache
def _registry() -> pint.UnitRegistry[Any]:
    import pint

    registry: pint.UnitRegistry[Any] = pint.UnitRegistry()
    registry.define("USD = [currency]")
    return registry


@cache
def _aliases() -> dict[str, str]:
    return {word: unit for unit, words in _SPELLINGS.items() for word in words.split()}


def known_unit(text: str) -> str | None:
    """pint's name of the unit as the trade writes it (``sf``, ``CY``, ``°F``, ``m²``), or None."""
    word = text.strip().lower().translate(str.maketrans("²³º", "23°"))
    word = re.sub(r"[\s_]+", "", word).replace("**", "").replace("^", "")
    if word == "°":
        return "degree"
    word = re.sub(r"°(?=[fc]$)", "", word)
    word = re.sub(r"per", "/", word) if word not in _aliases() else word
    return _aliases().get(word)


@cache
def checked_unit(text: str, house: str) -> str:
    """pint's name of the written unit, if it can stand in a column of unit ``house``.

    Raises UnitError with what would do.
    """
    unit = known_unit(text)
    if unit is None:
        raise UnitError(f"unit {text!r} is not known here; write {_examples(house)}")
    registry = _registry()
    if registry.Unit(unit).dimensionality != registry.Unit(_HOUSE[house]).dimensionality or (
        (unit == "percent") != (house == "percent") or (unit == "degree") != (house == "deg")
    ):
        raise UnitError(f"{text!r} is not {_WORDS[house]}; write {_examples(house)}")
    return unit


def _examples(house: str) -> str:
    metric = METRIC.get(house)
    return f"{house} or {metric}" if metric else house


def to_house(values: NDArray[np.float64], unit: str, house: str) -> NDArray[np.float64]:
    """Values in a checked unit (pint's name), in the house unit; any shape."""
    if unit == _HOUSE[house]:
        return values
    return _converted(values, unit, _HOUSE[house])


def _converted(values: NDArray[np.float64], unit: str, target: str) -> NDArray[np.float64]:
    quantity = _registry().Quantity(np.asarray(values, dtype=float), unit)
    return np.asarray(quantity.to(target).magnitude, dtype=float)


def unit_in(house: str, system: System) -> str:
    """The unit in which a house unit is shown in that system."""
    return METRIC.get(house, house) if system == "metric" else house


unit_label = unit_in

_SIGNS = {
    "percent": "%", "degF": "°F", "degC": "°C", "ft2": "ft²", "m2": "m²", "yd3": "yd³",
    "m3": "m³", "lb/ft2/h": "lb/ft²/h", "kg/m2/h": "kg/m²/h",
}  # fmt: skip


def unit_sign(house: str, system: System) -> str:
    """As :func:`unit_in`, but as people write it: ``°F``, ``ft²``."""
    unit = unit_in(house, system)
    return _SIGNS.get(unit, unit)


def to_system(values: Any, house: str, system: System) -> Any:
    """A number or array in house units, in the unit that the system shows; None stays None."""
    target = unit_in(house, system)
    if values is None or target == house:
        return values
    result = _converted(np.asarray(values, dtype=float), _HOUSE[house], _HOUSE[target])
    return float(result) if np.ndim(values) == 0 else result
