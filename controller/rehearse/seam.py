"""The seam behind which a simulated frame hangs: ``--stand-in module:factory``.

``factory(frame, start_utc)`` gets the frame's own settings table as a plain dict and gives an object
with ``advance(dt_s, weather, heat_on, opening)``, which returns the true °C by place at the end of the
step; inputs are constant over it. A stand-in that breaks the contract is refused with the reason.
"""

from __future__ import annotations

import copy
import importlib
import math
import numbers
import re
import sys
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import TypeGuard

from controller.config.plain import plain_copy
from controller.errors import ControllerError
from controller.rehearse.contract import Factory, OpeningNow, StandIn
from controller.weatherseries import WeatherPoint

REQUIRED_PLACES = ("air", "bed", "outside")
TRUE_C_MIN = -90.0
TRUE_C_MAX = 250.0
"""Beyond these a stand-in has gone astray: no weather is colder and no cable survives more."""
_TRIAL_STEP_S = 60.0
_PLACE = re.compile(r"[a-z][a-z0-9_]{0,31}", re.ASCII)


class StandInError(ControllerError):
    """A stand-in cannot be used; the text says which, what it did and what it must do."""


class CheckedStandIn:
    """A stand-in whose every answer is looked at before it is believed."""

    def __init__(self, stand_in: StandIn, name: str) -> None:
        """``name`` is how the stand-in was asked for, for errors."""
        self._stand_in = stand_in
        self._name = name
        self._places: frozenset[str] | None = None

    def advance(
        self,
        dt_s: float,
        weather: WeatherPoint,
        heat_on: bool,  # noqa: FBT001  # as above
        opening: OpeningNow,
        /,
    ) -> dict[str, float]:
        """The stand-in's own answer; raises StandInError when it breaks the contract."""
        try:
            places = self._stand_in.advance(dt_s, weather, heat_on, opening)
        except (Exception, SystemExit) as error:
            raise StandInError(
                f"stand-in {self._name}: advance() failed near {weather.utc.isoformat()}"
                f" ({type(error).__name__}: {error}); it must never raise"
            ) from error
        if type(places) is dict and places.keys() == self._places:
            for true_c in places.values():
                if type(true_c) is not float or not TRUE_C_MIN <= true_c <= TRUE_C_MAX:
                    break
            else:
                return places
        return self._look_closely(places, weather)

    def _look_closely(self, places: object, weather: WeatherPoint) -> dict[str, float]:
        """The answer as plain floats, or StandInError for whatever is wrong with it."""
        if not isinstance(places, Mapping):
            raise StandInError(
                f"stand-in {self._name}: advance() gave {type(places).__name__};"
                " it must give a dict of °C by place"
            )
        known = ", ".join(sorted(map(str, places))) or "nothing"
        for place in REQUIRED_PLACES:
            if place not in places:
                raise StandInError(
                    f"stand-in {self._name}: no {place!r} among its places ({known});"
                    f" {', '.join(REQUIRED_PLACES)} are always needed"
                )
        for place, true_c in places.items():
            if not isinstance(place, str) or not _PLACE.fullmatch(place):
                raise StandInError(
                    f"stand-in {self._name}: {place!r} is no name for a place;"
                    " use small letters, digits and _"
                )
            if not _is_number(true_c) or not TRUE_C_MIN <= float(true_c) <= TRUE_C_MAX:
                raise self._bad_place(place, true_c, weather)
        if self._places is None:
            self._places = frozenset(places)
        elif self._places != places.keys():
            raise StandInError(
                f"stand-in {self._name}: its places change near {weather.utc.isoformat()}"
                f" (now {known}); it must give the same ones at every step"
            )
        return {place: float(true_c) for place, true_c in places.items()}

    def _bad_place(self, place: object, found: object, weather: WeatherPoint) -> StandInError:
        return StandInError(
            f"stand-in {self._name}: {place} is {found!r} near {weather.utc.isoformat()};"
            f" it must be °C from {TRUE_C_MIN:g} to {TRUE_C_MAX:g}"
        )


def load_factory(spec: str) -> Factory:
    """The callable named by ``module:factory``; modules in the current folder are found too."""
    module_name, colon, factory_name = spec.partition(":")
    if not (colon and module_name and factory_name):
        raise StandInError(f"stand-in {spec!r}: write it as module:factory, for example my_frame:make_frame")
    here = str(Path.cwd())
    if here not in sys.path and "" not in sys.path:
        sys.path.insert(0, here)
    try:
        found: object = importlib.import_module(module_name)
    except ImportError as error:
        raise StandInError(
            f"stand-in {spec}: cannot import {module_name} ({error});"
            " run from the folder that holds it or add that folder to PYTHONPATH"
        ) from error
    except (Exception, SystemExit) as error:
        raise StandInError(
            f"stand-in {spec}: {module_name} fails while it is loaded"
            f" ({type(error).__name__}: {error}); mend it"
        ) from error
    for part in factory_name.split("."):
        if not hasattr(found, part):
            raise StandInError(f"stand-in {spec}: {module_name} has no {factory_name}; check the name")
        found = getattr(found, part)
    if not callable(found):
        raise StandInError(
            f"stand-in {spec}: {factory_name} cannot be called; it must be factory(frame, start_utc)"
        )
    factory: Factory = found
    return factory


def make_stand_in(
    factory: Factory,
    *,
    name: str,
    table: Mapping[str, object],
    start_utc: datetime,
    first_weather: WeatherPoint,
    opening: OpeningNow,
) -> CheckedStandIn:
    """Call the factory and hold its stand-in to the contract before any step counts.

    Raises StandInError when the factory fails, a place is missing or not a temperature, the stand-in
    cannot be deep-copied, or two copies of it given the same step disagree.
    """
    try:
        made = factory(plain_copy(dict(table)), start_utc)
    except (Exception, SystemExit) as error:
        raise StandInError(
            f"stand-in {name}: factory(frame, start_utc) failed ({type(error).__name__}: {error})"
        ) from error
    if not callable(getattr(made, "advance", None)):
        raise StandInError(f"stand-in {name}: the factory gave {type(made).__name__}, which has no advance()")
    checked = CheckedStandIn(made, name)
    checked.advance(0.0, first_weather, False, opening)  # noqa: FBT003  # as above
    try:
        twins = copy.deepcopy(made), copy.deepcopy(made)
    except Exception as error:
        raise StandInError(
            f"stand-in {name}: cannot be deep-copied ({type(error).__name__}: {error});"
            " keep files, locks and generators out of it"
        ) from error
    if not all(callable(getattr(twin, "advance", None)) for twin in twins):
        raise StandInError(f"stand-in {name}: its deep copy is {type(twins[0]).__name__}, no stand-in")
    one, other = (
        CheckedStandIn(twin, name).advance(_TRIAL_STEP_S, first_weather, True, opening)  # noqa: FBT003  # as above
        for twin in twins
    )
    if one != other:
        raise StandInError(
            f"stand-in {name}: two copies given the same step disagree; it must be deterministic"
        )
    return checked


def _is_number(found: object) -> TypeGuard[numbers.Real]:
    """A finite plain number; whatever cannot become a float is none."""
    if not isinstance(found, numbers.Real) or isinstance(found, bool):
        return False
    try:
        return math.isfinite(float(found))
    except (ValueError, OverflowError):
        return False
