"""The commissioning form, asked line by line; it only asks and collects, its caller records.

A no that speaks against heat is not kept for the end: whatever was recorded earlier is withdrawn
at once, so that walking away from the form cannot leave heat allowed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import click

from controller.commands.look import ProbeLook
from controller.config.records import FrameSettings, HeatSettings
from controller.errors import CommandRejected
from controller.loop.safety_list import CAUTIONS, POINTS
from controller.units import temperature_text
from controller.vocabulary import Place, Sample

WHERE = {
    Place.AIR: "in the air at leaf height, shaded, in the coldest front corner",
    Place.AIR_SECOND: "in the air at leaf height, shaded, in the middle",
    Place.BED: "at the pot bases, midway between two runs of the cable",
    Place.GUARD: "under the densest pots",
    Place.CABLE: "on the cable's own sheath",
    Place.OUTSIDE: "outside, in shade, out of the frame's lee",
    Place.WALL: "in or on the wall behind the frame",
}


@dataclass(slots=True)
class Form:
    """One frame's form while it is filled in."""

    frame: FrameSettings
    heat: HeatSettings
    units: str
    withdraw: Callable[[], bool]
    """Takes an earlier record of this frame back, durably; False where there was none."""
    answers: dict[str, bool] = field(default_factory=dict)
    checks: dict[str, str] = field(default_factory=dict)

    def ask_safety_list(self) -> None:
        """Every point; CommandRejected with all that is to be done where an essential one is no."""
        click.echo(CAUTIONS)
        click.echo()
        _insist_unplugged(
            "Is the mains plug that feeds relay and cable pulled out?",
            "Pull it out; nothing is checked with mains on.",
        )
        to_do: list[str] = []
        for number, point in enumerate(POINTS, start=1):
            question = point.question.format(lay=self.heat.lay.value)
            yes = _ask(f"{number:2d} of {len(POINTS)}  {question}")
            self.answers[point.code] = yes
            if not yes:
                click.echo(f"          {point.otherwise}")
                if point.essential:
                    to_do.append(point.otherwise)
                    self._withdraw()
        if to_do:
            raise _refused(to_do)

    def check_relays(self, pulse: Callable[[int, bool], None]) -> None:
        """Off at boot, and on and off the right way round; ``pulse`` drives one relay for two seconds."""
        click.echo("\nThe relays, with the mains plug still out.")
        self._insist(
            "Since the relays were wired, have you restarted the board and seen their lights stay off?",
            "Leave this form, restart the board with the mains plug out, and watch the relays' lights. "
            "Where one lights up, fit a 10 kΩ resistor at its input: to ground where high means on, "
            "to 3.3 V where low does. Then commission again.",
        )
        self.checks["off_at_boot"] = "seen"
        pins = self.heat.pins
        self._check_relay("relay", pins.relay, pulse, active_high=pins.relay_active_high)
        if pins.isolating is not None:
            self._check_relay("isolating", pins.isolating, pulse, active_high=pins.isolating_active_high)

    def check_probes(self, looks: Mapping[Place, ProbeLook]) -> None:
        """Each probe answers and hangs where the settings say."""
        click.echo("\nThe probes. To tell them apart, hold one in the hand: frameward probes watch")
        refuse_silent(looks)
        for place, look in looks.items():
            if not isinstance(look.reading, Sample):
                continue
            words = temperature_text(look.reading.temp_c, self.units)
            self._insist(
                f"{look.probe} reads {words}. Does it hang {WHERE[place]}?",
                f"Hang it there, or give probe.{place} the id of the one that does.",
            )
            self.checks[f"probe.{place}"] = f"{look.probe} read {words}"

    def _check_relay(
        self, name: str, pin: int, pulse: Callable[[int, bool], None], *, active_high: bool
    ) -> None:
        words = "relay" if name == "relay" else f"{name} relay"
        click.echo(f"\nThe {words} on GPIO {pin} will switch on for two seconds and off again.")
        _insist_unplugged("Mains plug still out, and eyes on the relay?", "Pull the plug first.")
        pulse(pin, active_high)
        self._insist(
            "Was it off before, on for two seconds, and is it off now?",
            f"If it was the other way round, change {name}_active_high in the settings. If nothing moved, "
            f"check {name}_pin and the wire.",
        )
        self.checks[f"{name}_polarity"] = f"GPIO {pin}, on when {'high' if active_high else 'low'}"

    def _insist(self, question: str, otherwise: str) -> None:
        """Ask; after a no the earlier record goes, and CommandRejected says what to do."""
        if not _ask(question):
            self._withdraw()
            raise _refused([otherwise])

    def _withdraw(self) -> None:
        if self.withdraw():
            click.echo(
                f"          The earlier record of {self.frame.name} is withdrawn: its heat is refused "
                "until a whole form is answered."
            )


def refuse_silent(looks: Mapping[Place, ProbeLook]) -> None:
    """CommandRejected with every probe that gives no reading; nothing where all answer."""
    silent = [
        f"probe.{place} ({look.probe}) gives no reading: {look.reading.reason}; check its lead and id."
        for place, look in looks.items()
        if not isinstance(look.reading, Sample)
    ]
    if silent:
        raise _put_off(silent)


def _ask(question: str) -> bool:
    """Yes or no in so many letters; Enter alone is no answer."""
    return click.confirm(question, default=None)


def _insist_unplugged(question: str, otherwise: str) -> None:
    """Ask for what makes the trial safe; a no speaks against going on, not against the installation."""
    if not _ask(question):
        raise _put_off([otherwise])


def _refused(to_do: list[str]) -> CommandRejected:
    return CommandRejected(f"nothing is recorded, and heat stays refused. To do first:\n{_steps(to_do)}")


def _put_off(to_do: list[str]) -> CommandRejected:
    return CommandRejected(f"nothing new is recorded. To do first:\n{_steps(to_do)}")


def _steps(to_do: list[str]) -> str:
    return "\n".join(f"  - {step}" for step in to_do)
