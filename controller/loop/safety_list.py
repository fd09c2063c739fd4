"""The safety list that heat waits for: what a person answers for at the board. Pure.

Facts of the trade, common practice, no source; the local electrical code and the makers'
instructions rule where they differ. None of it is proved by software.
"""

from __future__ import annotations

from dataclasses import dataclass

CAUTIONS = """\
Before anything else
  Mains electricity in a wet garden kills. A heating cable that cannot stop burns.
  This program is not the protection: it can fail, and so can the board and the relay.
  What protects, with the board switched off or broken, is hardware: an RCD (in the USA a GFCI),
  a fuse, an outdoor enclosure, a cable made for this use, and a thermal cut-out of its own.
  Follow the local electrical code and the cable maker's instructions.
  Work that the code keeps for a licensed electrician is done by one.
  Pull the mains plug that feeds relay and cable now, and leave it out until the form says so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One point of the list."""

    code: str
    question: str
    essential: bool
    """Heat stays refused without a yes."""
    otherwise: str
    """What to do, or what follows, after a no."""


POINTS = (
    Point(
        code="rcd_tested",
        question="Is the cable fed through an RCD (USA: GFCI), and did its test button trip it today?",
        essential=True,
        otherwise="Have one fitted, press its test button, and come back once it trips.",
    ),
    Point(
        code="fused",
        question="Is there a fuse or breaker sized for the cable and its lead?",
        essential=True,
        otherwise="Have a licensed electrician fit one that suits the cable's watts.",
    ),
    Point(
        code="enclosure",
        question="Are relay, board and every mains joint in enclosures made for outdoors, closed and dry?",
        essential=True,
        otherwise="Move them into an outdoor enclosure, mains and low voltage in separate compartments.",
    ),
    Point(
        code="cable_rated_for_use",
        question="Does the cable's maker allow it in soil, laid as the settings say (lay = {lay})?",
        essential=True,
        otherwise="Use a soil-warming cable, laid as its maker says, and write that into the settings.",
    ),
    Point(
        code="cut_out_fitted",
        question="Is an independent thermal cut-out fitted, which stops the cable without this board?",
        essential=True,
        otherwise="Have one fitted in series with the cable, one that works with the board switched off.",
    ),
    Point(
        code="cable_rated_continuous",
        question="Does the cable's maker rate it to run without pause?",
        essential=False,
        otherwise="Noted: the cable is never run blind, that is without a probe to watch it.",
    ),
    Point(
        code="strain_and_drip",
        question="Do all leads have strain relief and hang in a drip loop below each entry?",
        essential=True,
        otherwise="Clamp the leads and let each hang lower than where it enters, so that water drips off.",
    ),
    Point(
        code="licensed_work",
        question="Was all work that the local code keeps for a licensed electrician done by one?",
        essential=True,
        otherwise="Have it checked, and done again where needed, by a licensed electrician.",
    ),
    Point(
        code="out_of_reach",
        question="Are cable, leads and relay box out of reach of children and pets, and of spade and fork?",
        essential=True,
        otherwise="Fence, cover or mark them first.",
    ),
    Point(
        code="covers_held",
        question="Can no cover fall or blow onto a person, and does broken glass have nowhere to hurt?",
        essential=True,
        otherwise="Give every propped cover a stay that holds it, and glass a rail or a guard.",
    ),
)

ESSENTIAL_CODES = tuple(point.code for point in POINTS if point.essential)
BLIND_DUTY_CODES = ("cut_out_fitted", "cable_rated_continuous")
"""Both are needed before the cable may be run in bounded spells with no probe to watch it.

The first is essential for any heat; it stands here too, so that blind duty never rests on that alone.
"""
