"""What the probes and the board answer, in lines for a person; nothing is driven."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from controller.commands.look import ProbeLook, outputs_persist
from controller.config.records import FrameSettings
from controller.heat.pins import BOARD, PinRefused, open_factory
from controller.loop.calibration_file import Calibration
from controller.units import temperature_text
from controller.vocabulary import AIR_PLACES, FULL_RESOLUTION_BITS, Place, Sample

_WATCHED = (*AIR_PLACES, Place.BED)
"""Without any of these there is nothing to control by."""


@dataclass(slots=True)
class Findings:
    """What of the hardware would keep the keeper from its work."""

    blocking: list[str] = field(default_factory=list)


def probe_lines(
    frame: FrameSettings,
    looks: Mapping[Place, ProbeLook],
    calibration: Calibration,
    units: str,
    findings: Findings,
) -> Iterator[str]:
    """Each probe's reading or why there is none."""
    if not looks:
        yield "  no probes"
    for place, look in looks.items():
        corrected = " (corrected)" if look.probe in calibration.corrections else ""
        if isinstance(look.reading, Sample):
            bits = look.reading.resolution_bits
            coarse = "" if bits == FULL_RESOLUTION_BITS else f", only {bits} bits"
            words = f"{temperature_text(look.reading.temp_c, units)}{corrected}{coarse}"
        else:
            words = f"no reading ({look.reading.reason.replace('_', ' ')}): {look.reading.detail}"
        yield f"  probe {place} {look.probe}: {words}"
    if not any(place in _WATCHED and isinstance(look.reading, Sample) for place, look in looks.items()):
        findings.blocking.append(
            f"{frame.name}: there is nothing to keep it by, since no probe in its air or bed answers"
        )


def board_lines(findings: Findings) -> Iterator[str]:
    """Whether pins can be had, and whether the kernel lets go of them."""
    try:
        open_factory(BOARD, record=None).close()
    except PinRefused as error:
        findings.blocking.append("it could not start, since the board's pins cannot be had; once they can:")
        yield f"  pins: {error}"
    else:
        yield "  pins: can be opened (none was driven)"
    persist = outputs_persist()
    if persist is None:
        yield "  kernel: does not say whether it lets go of outputs when a program dies"
    elif persist:
        yield "  kernel: keeps outputs driven after a program dies; add dtparam=strict_gpiod to config.txt"
    else:
        yield "  kernel: lets go of a dead program's outputs"
