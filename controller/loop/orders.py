"""What a command does once it has crossed the socket: bounded, told to the record, answered in words."""

from __future__ import annotations

from collections.abc import Callable

from controller.errors import CommandRejected, StorageError
from controller.loop.attendance import Attendance
from controller.loop.keeper import Keeper
from controller.loop.overlay import keep_above_problem
from controller.units import temperature_text
from controller.vocabulary import FrameName
from controller.wire import Order, ReportCovering, ReportOpening, RestHeat, ResumeHeat, SetKeepAbove


class OrderDesk:
    """Takes one order at a time, between two ticks, on the keeper's own thread."""

    def __init__(self, keeper: Keeper, keep_reported: Callable[[], None]) -> None:
        """``keep_reported`` stores what was reported; it raises StorageError when it cannot."""
        self._keeper = keeper
        self._keep_reported = keep_reported

    def take(self, order: Order, uid: int) -> str:
        """Do it, or raise CommandRejected with the reason; returns what was done, for the sender."""
        attendance = self._attendance(order.frame)
        done = self._do(attendance, order)
        self._keeper.note("command", {"uid": uid, "cmd": order.cmd, "done": done}, attendance.frame.name)
        if not isinstance(order, RestHeat | ResumeHeat):
            try:
                self._keep_reported()
            except StorageError as error:
                return f"{done}; held until the next restart only, since {error}"
        return done

    def _do(self, attendance: Attendance, order: Order) -> str:
        match order:
            case ReportOpening():
                return _report_opening(attendance, order.opening)
            case ReportCovering():
                return _report_coverings(attendance, tuple(order.coverings))
            case SetKeepAbove():
                return self._set_keep_above(attendance, order.keep_above_c)
            case RestHeat():
                attendance.rest_until_s = self._keeper.parts.clock.mono_s() + order.for_s
                return f"heat of {attendance.frame.name} rests for {order.for_s / 60:.0f} minutes"
            case ResumeHeat():
                attendance.rest_until_s = None
                return f"heat of {attendance.frame.name} no longer rests by request"

    def _set_keep_above(self, attendance: Attendance, keep_above_c: float) -> str:
        problem = keep_above_problem(attendance.frame, keep_above_c)
        if problem is not None:
            raise CommandRejected(problem)
        attendance.keep_above_c = keep_above_c
        say = temperature_text(keep_above_c, self._keeper.parts.settings.site.units)
        return f"{attendance.frame.name} is kept above {say}"

    def _attendance(self, name: str) -> Attendance:
        attendance = self._keeper.parts.attendances.get(FrameName(name))
        if attendance is None:
            known = ", ".join(self._keeper.parts.attendances)
            raise CommandRejected(f"there is no frame {name!r}; there is {known}")
        return attendance


def _report_opening(attendance: Attendance, opening: str) -> str:
    known = [each.name for each in attendance.frame.openings]
    if opening not in known:
        raise CommandRejected(
            f"{attendance.frame.name} has no opening {opening!r}; it has {', '.join(known)}"
        )
    attendance.opening = opening
    return f"the covers of {attendance.frame.name} are taken to be {opening}"


def _report_coverings(attendance: Attendance, coverings: tuple[str, ...]) -> str:
    known = [each.name for each in attendance.frame.coverings]
    for covering in coverings:
        if covering not in known:
            raise CommandRejected(
                f"{attendance.frame.name} has no covering {covering!r}; it has {', '.join(known) or 'none'}"
            )
    if len(set(coverings)) != len(coverings):
        raise CommandRejected("a covering is named twice")
    attendance.coverings = coverings
    return f"over {attendance.frame.name} lies {' and '.join(coverings) or 'nothing'}"
