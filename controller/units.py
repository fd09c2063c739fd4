"""Numbers as people read them: °C or °F, money, energy, ages. Pure.

Inside, all is SI with °C; only words for people pass through here.
``units`` is ``"celsius"`` or ``"fahrenheit"``; anything else raises ValueError.
A number that is not finite reads ``unknown``, never as a figure.
"""

from __future__ import annotations

import math

CELSIUS = "celsius"
FAHRENHEIT = "fahrenheit"
UNKNOWN = "unknown"
_MINUS = "\N{MINUS SIGN}"
_F_PER_K = 1.8
_F_AT_0_C = 32.0

_MINUTE_S = 60
_HOUR_S = 3600
_DAY_S = 86400
_JUST_NOW_S = 5


def c_to_f(temp_c: float) -> float:
    """Degrees Fahrenheit of a temperature in °C."""
    return temp_c * _F_PER_K + _F_AT_0_C


def f_to_c(number: float) -> float:
    """Degrees Celsius of a ``number`` of degrees Fahrenheit."""
    return (number - _F_AT_0_C) / _F_PER_K


def decimal_text(number: float, places: int = 1) -> str:
    """Fixed places, a real minus sign, and no minus before a plain zero."""
    if not math.isfinite(number):
        return UNKNOWN
    digits = f"{abs(number):.{places}f}"
    return f"{_MINUS}{digits}" if number < 0 and float(digits) != 0 else digits


def temperature_text(temp_c: float, units: str) -> str:
    """A temperature with one decimal and its unit, such as ``1.5 °C``."""
    shown = c_to_f(temp_c) if _is_fahrenheit(units) else temp_c
    sign = "°F" if _is_fahrenheit(units) else "°C"
    return _with_unit(decimal_text(shown), sign)


def span_text(span_k: float, units: str) -> str:
    """A difference of temperatures; 1 K is 1.8 °F, with no 32 added."""
    if _is_fahrenheit(units):
        return _with_unit(decimal_text(span_k * _F_PER_K), "°F")
    return _with_unit(decimal_text(span_k), "K")


def energy_text(energy_wh: float) -> str:
    """Energy in kWh with one decimal; whole Wh below 1 kWh."""
    if not math.isfinite(energy_wh):
        return UNKNOWN
    if abs(energy_wh) < 999.5:  # noqa: PLR2004  # the last figure that still rounds below 1000 Wh
        return _with_unit(decimal_text(energy_wh, 0), "Wh")
    return _with_unit(decimal_text(energy_wh / 1000), "kWh")


def cost_of(energy_wh: float, price_per_kwh: float) -> float:
    """Money for an energy, in the unit of the price."""
    return energy_wh / 1000 * price_per_kwh


def money_text(amount: float, currency: str) -> str:
    """An amount with two decimals before its currency, such as ``12.70 EUR``."""
    return _with_unit(decimal_text(amount, 2), currency)


def duration_text(duration_s: float) -> str:
    """A length of time in words: ``14 minutes``, ``2 hours 5 minutes``, ``3 days``.

    Rounded down, so that an age is never overstated; a negative length reads as ``unknown``.
    """
    if not math.isfinite(duration_s) or duration_s < 0:
        return UNKNOWN
    whole_s = int(duration_s)
    if whole_s < _MINUTE_S:
        return count_text(whole_s, "second")
    if whole_s < _HOUR_S:
        return count_text(whole_s // _MINUTE_S, "minute")
    if whole_s < _DAY_S:
        return _two_parts(whole_s // _HOUR_S, "hour", whole_s % _HOUR_S // _MINUTE_S, "minute")
    return _two_parts(whole_s // _DAY_S, "day", whole_s % _DAY_S // _HOUR_S, "hour")


def age_text(age_s: float) -> str:
    """How long ago something was: ``just now``, ``14 minutes ago``."""
    if not math.isfinite(age_s) or age_s < 0:
        return UNKNOWN
    return "just now" if age_s < _JUST_NOW_S else f"{duration_text(age_s)} ago"


def _is_fahrenheit(units: str) -> bool:
    """Tell the two apart; a third unit is a mistake of the caller."""
    if units not in (CELSIUS, FAHRENHEIT):
        raise ValueError(f"units: {units!r} is neither {CELSIUS} nor {FAHRENHEIT}")
    return units == FAHRENHEIT


def _with_unit(figure: str, unit: str) -> str:
    """Leave the unit away where there is no figure."""
    return figure if figure == UNKNOWN else f"{figure} {unit}"


def count_text(number: int, noun: str) -> str:
    """A number with its noun: ``1 probe``, ``3 probes``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _two_parts(large: int, large_noun: str, small: int, small_noun: str) -> str:
    """Leave a zero second part away."""
    first = count_text(large, large_noun)
    return f"{first} {count_text(small, small_noun)}" if small else first
